// Package brakes holds the default programme: twelve lessons on brake hydraulics, the sheets of four training
// vehicles, their drawings and the policy. All vehicles and all their figures are invented for training.
//
// Steps that not every car has carry a feature. A by-wire car lacks bleeding-by-foot, so that its job sheet never offers a bleed by
// foot; such steps are asked only with a car that has them.
//
// What to change where: tasks, policy and tests in programme.yaml; a lesson in lessons/; a training vehicle in
// vehicles/; a drawing in pictures/; how all drawings look in drawing.css. Then
// renew SOURCES.md and the drawings' copies of drawing.css by
// go test ./curriculum/brakes -run 'TestSources|TestDrawings' -update.
package brakes

import (
	"embed"
	"io/fs"
)

//go:embed programme.yaml lessons vehicles pictures
var files embed.FS

// FS is the programme folder, rooted at programme.yaml, as curriculum.Load reads it.
var FS fs.FS = files
