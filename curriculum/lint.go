package curriculum

import "io/fs"

func lint(fsys fs.FS) []Problem {
	f := read(fsys)
	return f.finish()
}
