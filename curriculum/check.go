package curriculum

// check compares the files of a folder with one another.
func (f *folder) check() {
}
