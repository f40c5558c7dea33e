package store

import (
	"fmt"
	"strconv"
	"strings"

	"go.etcd.io/bbolt"
)

// checkFormat reads the format before anything else is believed.
func checkFormat(tx *bbolt.Tx) error {
	number, text, err := formatOf(tx)
	switch {
	case err != nil:
		return err
	case number > formatVersion:
		return newerFormat(text)
	case number < formatVersion:
		return &Error{Kind: ErrOlder, What: fmt.Sprintf("the file has format %s, this version reads %s", text, Format), Do: "open it for writing once"}
	}
	_, err = getState(tx)
	return err
}

// formatOf gives the format of a file, held to its sealed copy.
func formatOf(tx *bbolt.Tx) (number int, text string, err error) {
	meta := tx.Bucket(bucketMeta)
	if meta == nil {
		return 0, "", foreign("it is of another program")
	}
	text = string(meta.Get(keyFormat))
	if !strings.HasPrefix(text, formatName) {
		return 0, text, foreign("it is of another program")
	}
	if rec := meta.Get(keySealed); rec != nil {
		sealed := ""
		if err := unseal(kindFormat, 0, keySealed, rec, &sealed); err != nil || sealed != text {
			return 0, text, damagef("its format reads %q, and its sealed copy says otherwise", text)
		}
	}
	if number, err = formatNumber(text); err != nil {
		return 0, text, damagef("its format reads %q", text)
	}
	return number, text, nil
}

func formatNumber(text string) (int, error) {
	number, ok := strings.CutPrefix(text, formatName)
	if !ok {
		return 0, strconv.ErrSyntax
	}
	n, err := strconv.Atoi(number)
	if err == nil && (n < 0 || strconv.Itoa(n) != number) {
		err = strconv.ErrSyntax
	}
	return n, err
}

func newerFormat(text string) error {
	return &Error{Kind: ErrNewer, What: fmt.Sprintf("the file has format %s, this version reads %s", text, Format), Do: "use a newer footrule"}
}

func putFormat(tx *bbolt.Tx) error {
	rec, err := seal(kindFormat, 0, keySealed, Format)
	if err != nil {
		return err
	}
	meta := tx.Bucket(bucketMeta)
	if err := meta.Put(keyFormat, []byte(Format)); err != nil {
		return err
	}
	return meta.Put(keySealed, rec)
}
