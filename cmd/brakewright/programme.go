package main

import (
	"io/fs"
	"os"

	"brakewright/curriculum/brakes"
)

// embedded is the value of --curriculum for the programme that comes with the program.
const embedded = "embedded"

// curriculumFS opens a programme folder by the value of --curriculum.
func curriculumFS(dir string) (fs.FS, error) {
	if dir == embedded {
		return brakes.FS, nil
	}
	info, err := os.Stat(dir)
	if err != nil {
		return nil, failf("Give the folder that holds programme.yaml.", "there is no folder %s", dir)
	}
	if !info.IsDir() {
		return nil, failf("Give the folder that holds programme.yaml.", "%s is not a folder", dir)
	}
	return os.DirFS(dir), nil
}
