package store

import "errors"

var (
	// ErrNotFound: there is no such thing.
	ErrNotFound = errors.New("not found")
	// ErrConflict: the id is taken by something else, or the thing is past changing.
	ErrConflict = errors.New("conflict")
	// ErrBusy: the queue of writers did not move for too long; try again later.
	ErrBusy = errors.New("the database is busy")
	// ErrNotDatabase: the file is not one of ours.
	ErrNotDatabase = errors.New("it is not a Brakewright database")
	// ErrNewer: a newer program made the database.
	ErrNewer = errors.New("use the newer version")
	// ErrDiskFull and ErrReadOnly: nothing was written.
	ErrDiskFull = errors.New("the disk is full")
	ErrReadOnly = errors.New("it cannot be written to")
	// ErrNoKeyFile: personal values cannot be kept or read without the key file.
	ErrNoKeyFile = errors.New("the key file is needed for personal data")
	// ErrWrongKeyFile: the key file belongs to another database.
	ErrWrongKeyFile = errors.New("the key file does not belong to this database")
	// ErrExists: the file is there already and is not overwritten.
	ErrExists = errors.New("the file is there already")
	// ErrClosed: the store is closed.
	ErrClosed = errors.New("the store is closed")
	// ErrDamaged: verification found a problem.
	ErrDamaged = errors.New("verification found a problem")
	// ErrOlder: the database to be replaced holds entries that the backup lacks.
	ErrOlder = errors.New("the database holds entries that the backup lacks")
	// ErrRolledBack: the database is shorter than, or not consistent with, a head that is known; nothing is signed.
	ErrRolledBack = errors.New("the database is not the one that the known head was signed for, or an older copy of it")
)
