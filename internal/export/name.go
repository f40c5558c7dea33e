package export

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// longestName is how many bytes of a name are kept: file systems take 255, and an
// ending and a temporary name come on top.
const longestName = 100

// namer gives names that any file system takes, each once whatever the case.
type namer struct{ taken map[string]bool }

// of makes a file name of text; id tells two of one name apart.
func (n *namer) of(text, id string) string {
	name := SafeName(text)
	if n.taken == nil {
		n.taken = map[string]bool{}
	}
	if n.taken[strings.ToLower(name)] {
		name += "-" + short(id)
	}
	for base, k := name, 2; n.taken[strings.ToLower(name)]; k++ {
		name = fmt.Sprintf("%s-%d", base, k)
	}
	n.taken[strings.ToLower(name)] = true
	return name
}

// reserved are names that stand for devices on some systems.
var reserved = []string{"con", "prn", "aux", "nul", "com1", "com2", "com3", "com4", "com5", "com6", "com7", "com8", "com9",
	"lpt1", "lpt2", "lpt3", "lpt4", "lpt5", "lpt6", "lpt7", "lpt8", "lpt9"}

// SafeName makes one component of a path of any text: letters, digits, and of the
// rest only - and _ and dots within. A text that is changed gets a piece of its
// digest, so that two never become one by chance. It is not empty.
func SafeName(text string) string {
	name := strings.Map(func(r rune) rune {
		switch {
		case r == utf8.RuneError:
			return '_'
		case unicode.IsLetter(r), unicode.IsDigit(r), r == '-', r == '_', r == '.':
			return r
		}
		return '_'
	}, text)
	name = strings.Trim(name, ".")
	for len(name) > longestName {
		_, size := utf8.DecodeLastRuneInString(name)
		name = name[:len(name)-size]
	}
	base, _, _ := strings.Cut(strings.ToLower(name), ".")
	plain := strings.ReplaceAll(text, " ", "_") // a blank is no reason for a digest
	if name != plain || name == "" || slices.Contains(reserved, base) {
		name = strings.TrimLeft(name+"-"+short(text), "-")
		if base, _, _ := strings.Cut(strings.ToLower(name), "."); slices.Contains(reserved, base) {
			name = "_" + name
		}
	}
	return name
}

// partition is NAME=value as engines that read partitioned folders expect it:
// what could mean something in a path is percent-encoded.
func partition(name, value string) string {
	var b strings.Builder
	for i := 0; i < len(value); i++ {
		switch c := value[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '_', c == '.', c == ' ':
			b.WriteByte(c)
		default:
			fmt.Fprintf(&b, "%%%02X", c)
		}
	}
	v := b.String()
	if len(v) > 200 {
		v = v[:180]
		if i := strings.LastIndexByte(v, '%'); i > len(v)-3 {
			v = v[:i]
		}
		v += "-" + short(value)
	}
	return name + "=" + v
}

// short is a piece of a digest: enough to tell the names in one folder apart.
func short(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:4])
}
