package walk

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math/rand/v2"
	"strings"
	"testing"

	"footrule/internal/input"

	"github.com/stretchr/testify/require"
)

// splitAll gives the records before the end or the first error.
func splitAll(text []byte) ([][]string, error) {
	s := newSplitter(bytes.NewReader(text), "f")
	var out [][]string
	for {
		if err := s.read(); err != nil {
			return out, err
		}
		rec := make([]string, len(s.fields))
		for i, f := range s.fields {
			rec[i] = strings.ReplaceAll(string(f), "\r\n", "\n") // encoding/csv does that inside quotes
		}
		out = append(out, rec)
	}
}

// sameAsStandard holds the splitter against encoding/csv: equal records up to
// the first error, and an error wherever that has one. The splitter may refuse
// more: NUL, what is no UTF-8, a bare carriage return, a record too long.
func sameAsStandard(t *testing.T, text []byte) {
	t.Helper()
	got, err := splitAll(text)
	r := csv.NewReader(bytes.NewReader(text))
	r.FieldsPerRecord = -1
	var want [][]string
	var wantErr error
	for {
		var rec []string
		if rec, wantErr = r.Read(); wantErr != nil {
			break
		}
		want = append(want, rec)
	}
	if errors.Is(err, io.EOF) {
		require.Equal(t, io.EOF, wantErr, "%q", text)
		require.Equal(t, want, got, "%q", text)
		return
	}
	var in *input.Error
	require.ErrorAs(t, err, &in)
	require.LessOrEqual(t, len(got), len(want), "%q: %v", text, err)
	if len(got) > 0 {
		require.Equal(t, want[:len(got)], got, "%q", text)
	}
	switch {
	case strings.Contains(in.What, "NUL"), strings.Contains(in.What, "UTF-"), strings.Contains(in.What, "bare carriage"), strings.Contains(in.What, "a record of more"):
	default:
		require.Error(t, wantErr)
		require.NotEqual(t, io.EOF, wantErr, "%q: %v", text, err)
		require.Len(t, want, len(got), "%q: %v", text, err)
	}
}

var splitSeeds = []string{
	"", "\n", "a", "a,b\n", "a,b\r\nc,d", "\"a\"", "\"a\nb\",c\n", "\"a\r\nb\",c\r\n", "\"\"\"\"", "a\"b\n", "\"a\"b\n", "\"a", "a,\n", ",\n,", "a\rb\n", "\"a\rb\"\n",
	"\n\n\"\"\n", "a,\"b\"\r", "\"a\"\"\n\"\n", "x,\"y,\"\"z\"\"\",\nnext", " \"a\"\n", "é,\"ü\"\n", "\xff,b\n", "\"a\",\"\"\n",
}

func TestSplitAgainstEncodingCSV(t *testing.T) {
	for _, s := range splitSeeds {
		sameAsStandard(t, []byte(s))
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	const letters = "ab,,\"\"\n\n\r é"
	for range 20_000 {
		b := make([]byte, rnd.IntN(24))
		for i := range b {
			b[i] = letters[rnd.IntN(len(letters))]
		}
		sameAsStandard(t, b)
	}
	// Records that straddle the buffer.
	var long strings.Builder
	for i := range 30_000 {
		long.WriteString(strings.Repeat("x", i%97))
		long.WriteString(",\"a \"\"quoted\"\"\nfield\",")
		long.WriteString(strings.Repeat("y", i%31))
		long.WriteString("\r\n")
	}
	sameAsStandard(t, []byte(long.String()))
}

func FuzzSplit(f *testing.F) {
	for _, s := range splitSeeds {
		f.Add([]byte(s))
	}
	f.Fuzz(sameAsStandard)
}
