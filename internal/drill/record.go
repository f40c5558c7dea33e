package drill

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// Record is what a site file keeps of a case: what it is made from, and what the
// trainee did.
type Record struct {
	Spec    Spec      `json:"spec"`   // as it was asked for, before anything was drawn
	Digest  string    `json:"digest"` // of the case as it was made
	Answers []Answer  `json:"answers"`
	Opened  time.Time `json:"opened,omitzero"` // when the truth was first shown; zero: it was not
	Score   *int      `json:"score,omitempty"` // by the first grading
}

// Open reports whether the truth was shown.
func (r *Record) Open() bool { return !r.Opened.IsZero() }

// recordTag begins every record.
const recordTag = "drill/1 "

// maxRecord is the largest record that is unpacked.
const maxRecord = 1 << 20

// Pack makes bytes of a record that nobody reads by accident. They are no secret.
func (r *Record) Pack() ([]byte, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	out.WriteString(recordTag)
	w, err := flate.NewWriter(&out, flate.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(b); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// Unpack reads the bytes of Pack.
func Unpack(data []byte) (*Record, error) {
	packed, ok := bytes.CutPrefix(data, []byte(recordTag))
	if !ok {
		return nil, errors.New("the file is a drill of a newer footrule")
	}
	b, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(packed)), maxRecord))
	if err != nil {
		return nil, fmt.Errorf("the drill's record can't be unpacked: %w", err)
	}
	r := new(Record)
	if err := json.Unmarshal(b, r); err != nil {
		return nil, fmt.Errorf("the drill's record can't be read: %w", err)
	}
	return r, nil
}

// Case makes the case of a record again. A case that is not the one that was
// handed out, because another version of the program makes another, is an error.
func (r *Record) Case() (*Case, error) {
	c, err := Make(r.Spec)
	if err != nil {
		return nil, err
	}
	if c.Digest != r.Digest {
		return nil, errors.New("this drill was made by another version of footrule, which draws another building; finish it with that one, or make it anew")
	}
	return c, nil
}
