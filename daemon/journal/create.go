package journal

import (
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"go.etcd.io/bbolt"

	"sumpbook/maintenance"
)

// create makes an empty journal under another name and renames it: bbolt's own creation
// can leave half a file, which under the final name would be taken for a damaged journal.
func create(path string) error {
	temp, err := tempBeside(path)
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	if err := temp.Close(); err != nil {
		return err
	}
	if err := fill(temp.Name()); err != nil {
		return err
	}
	if err := place(temp.Name(), path); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil // another process was quicker
}

func fill(path string) error {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second, PageSize: pageSize, NoStatistics: true})
	if err != nil {
		return err
	}
	return errors.Join(db.Update(begin), db.Close())
}

func begin(tx *bbolt.Tx) error {
	for _, name := range buckets {
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	for _, m := range []struct{ key, value []byte }{
		{keyFormat, binary.BigEndian.AppendUint32(nil, format)},
		{keyID, []byte(rand.Text())},
		{keyHead, head{link: link{0, maintenance.ZeroHash}}.encode()},
	} {
		if err := tx.Bucket(inMeta).Put(m.key, withSum(m.key, m.value)); err != nil {
			return err
		}
	}
	return nil
}

// tempBeside makes a file for what will be renamed to path. A kill leaves it there, under
// a name that nothing reads.
func tempBeside(path string) (*os.File, error) {
	return os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
}

// place gives a finished and synced file its name, for good or not at all, unless there is
// a file that is not empty: fs.ErrExist.
func place(temp, path string) error {
	folder := filepath.Dir(path)
	unlock, err := lockFolder(folder) // against another process that does the same
	if err != nil {
		return err
	}
	defer unlock()
	if info, err := os.Lstat(path); err == nil && info.Size() > 0 {
		return fmt.Errorf("%s: %w", path, fs.ErrExist)
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	if err := syncFolder(folder); err != nil {
		os.Remove(path)
		return fmt.Errorf("sync folder %s: %w", folder, err)
	}
	return nil
}
