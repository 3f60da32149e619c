// Package brakes holds the default programme: four lessons on brake hydraulics, the sheets of three training
// vehicles, their drawings and the policy. All vehicles and all their figures are invented for training.
//
// What to change where: tasks, policy and tests in programme.yaml; a lesson in lessons/; a training vehicle in
// vehicles/; a drawing in pictures/.
package brakes

import (
	"embed"
	"io/fs"
)

//go:embed programme.yaml lessons vehicles pictures
var files embed.FS

// FS is the programme folder, rooted at programme.yaml, as curriculum.Load reads it.
var FS fs.FS = files
