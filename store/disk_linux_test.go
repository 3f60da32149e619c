package store_test

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"brakewright/store"
	"brakewright/store/storetest"
)

// diskOf is set in the process that has a disk of its own: where it is mounted.
const diskOf = "BRAKEWRIGHT_TEST_DISK"

// On a real small disk, in a mount namespace of its own: full while signing, full for backup and restore, then mounted
// read-only. Nothing acknowledged is lost, each failure says what to do, and verify is content, also on the read-only disk.
// Where the system gives no namespaces, TestWritesCutShort and TestReadOnly are what there is, and the log says so.
func TestARealDisk(t *testing.T) {
	if dir := os.Getenv(diskOf); dir != "" {
		onASmallDisk(t, dir)
		return
	}
	cmd := exec.Command(os.Args[0], "-test.run=^TestARealDisk$")
	cmd.Env = append(os.Environ(), diskOf+"="+t.TempDir())
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	err := cmd.Start()
	if errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.ENOSYS) {
		t.Logf("no disk of its own could be had here: %v", err)
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("%v\n%s", err, said.String())
	}
}

func onASmallDisk(t *testing.T, disk string) {
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, "size=16m"); err != nil {
		if errors.Is(err, syscall.EPERM) {
			t.Logf("no disk of its own could be had here: %v", err)
			return
		}
		t.Fatal(err)
	}
	w := storetest.New(t, storetest.Config{Dir: disk})
	elsewhere := filepath.Join(t.TempDir(), "copy.db")
	if _, err := store.Backup(ctx, w.Options, elsewhere, nil); err != nil {
		t.Fatal(err)
	}
	sign := func() error {
		_, err := w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
		return err
	}
	acknowledged := entries(t, w.Store)
	filler := filepath.Join(disk, "filler")
	fill(t, filler)
	var err error
	for range 2000 {
		if err = sign(); err != nil {
			break
		}
		acknowledged++
	}
	if !errors.Is(err, store.ErrDiskFull) || !strings.Contains(err.Error(), "make room") || !strings.Contains(err.Error(), "nothing was recorded") {
		t.Fatalf("on the full disk: %v", err)
	}
	if n := entries(t, w.Store); n != acknowledged {
		t.Errorf("%d entries were acknowledged, %d are there", acknowledged, n)
	}
	mustVerify(t, w.Options)
	before := files(t, disk)
	if _, err := store.Backup(ctx, w.Options, filepath.Join(disk, "b.db"), nil); !errors.Is(err, store.ErrDiskFull) || !strings.Contains(err.Error(), "make room") {
		t.Errorf("backup to the full disk: %v", err)
	}
	o := w.Options
	o.Database = filepath.Join(disk, "r.db")
	if _, err := store.Restore(ctx, elsewhere, o, false, nil); !errors.Is(err, store.ErrDiskFull) || !strings.Contains(err.Error(), "make room") {
		t.Errorf("restore to the full disk: %v", err)
	}
	if got := files(t, disk); strings.Join(got, " ") != strings.Join(before, " ") {
		t.Errorf("left behind: %v, before %v", got, before)
	}
	// A process that dies on the full disk, as it lies: the next one goes on from what was acknowledged.
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	if err := sign(); err != nil {
		t.Fatalf("when there is room again: %v", err)
	}
	acknowledged++
	// Its log is not taken in: that is how a lost power supply leaves it.
	log := readFile(t, w.Options.Database+"-wal")
	database := readFile(t, w.Options.Database)
	closed(w)
	for suffix, b := range map[string][]byte{"": database, "-wal": log} {
		if err := os.WriteFile(w.Options.Database+suffix, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := syscall.Mount("", disk, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	if v := mustVerify(t, w.Options); v.Entries != acknowledged {
		t.Errorf("on the read-only disk %d entries, want %d", v.Entries, acknowledged)
	}
	if _, err := store.Open(ctx, w.Options); err == nil || !strings.Contains(err.Error(), "writable") {
		t.Errorf("opened on a read-only disk: %v", err)
	}
	if _, err := store.Backup(ctx, w.Options, filepath.Join(t.TempDir(), "b.db"), nil); err != nil {
		t.Errorf("a backup from a read-only disk: %v", err)
	}
	if _, err := store.Backup(ctx, w.Options, filepath.Join(disk, "b.db"), nil); !errors.Is(err, syscall.EROFS) {
		t.Errorf("a backup to a read-only disk: %v", err)
	}
	if _, err := store.Restore(ctx, elsewhere, o, false, nil); !errors.Is(err, syscall.EROFS) {
		t.Errorf("a restore to a read-only disk: %v", err)
	}
	if err := syscall.Mount("", disk, "", syscall.MS_REMOUNT, ""); err != nil {
		t.Fatal(err)
	}
	reopen(w)
	if n := entries(t, w.Store); n != acknowledged {
		t.Errorf("%d entries, want %d", n, acknowledged)
	}
	if err := sign(); err != nil {
		t.Fatal(err)
	}
	mustVerify(t, w.Options)
	closed(w)
	if err := syscall.Unmount(disk, 0); err != nil {
		t.Fatal(err)
	}
}

// fill leaves a disk a few pages.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for page := make([]byte, 4096); err == nil; {
		_, err = f.Write(page)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(info.Size() - 40*4096); err != nil {
		t.Fatal(err)
	}
}

// Writes that the system cuts short in the middle of a page, wherever that falls: the signer is told of a fault of the disk,
// what was acknowledged is there, and it goes on once the disk is in order.
func TestWritesCutShort(t *testing.T) {
	signal.Ignore(syscall.SIGXFSZ)
	defer signal.Reset(syscall.SIGXFSZ)
	var usual syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
		t.Fatal(err)
	}
	for _, room := range []uint64{1, 100, 4096 + 24, 9000, 40_000, 100_001} {
		w := storetest.New(t, storetest.Config{})
		acknowledged := entries(t, w.Store)
		info, err := os.Stat(w.Options.Database + "-wal")
		if err != nil {
			t.Fatal(err)
		}
		cut := usual
		cut.Cur = uint64(info.Size()) + room
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &cut); err != nil {
			t.Fatal(err)
		}
		for range 200 {
			if _, err = w.Store.Append(ctx, w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil)); err != nil {
				break
			}
			acknowledged++
		}
		if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &usual); err != nil {
			t.Fatal(err)
		}
		if err == nil || !strings.Contains(err.Error(), "disk reports a fault") && !errors.Is(err, store.ErrDiskFull) {
			t.Errorf("room for %d bytes: %v", room, err)
		}
		if n := entries(t, w.Store); n != acknowledged {
			t.Errorf("room for %d bytes: %d entries were acknowledged, %d are there", room, acknowledged, n)
		}
		mustVerify(t, w.Options)
		w.Append(w.SignOff(w.Supervisors[0], w.Apprentices[0], w.Tasks[0], nil))
		closed(w)
		if v := mustVerify(t, w.Options); v.Entries != acknowledged+1 {
			t.Errorf("room for %d bytes: %d entries, want %d", room, v.Entries, acknowledged+1)
		}
	}
}
