package air

import (
	"bufio"
	"fmt"
	"net"
	"strings"
)

// Socket is where the medium of the lab listens for its control lines.
const Socket = "/run/air.sock"

// Serve answers control lines on a Unix socket until it is closed: "ok", a
// blank and the answer, or "error" and what was wrong. A change stands before
// its answer is sent.
func Serve(l net.Listener, do func(line string) (string, error)) error {
	for {
		c, err := l.Accept()
		if err != nil {
			return err
		}
		go serve(c, do)
	}
}

func serve(c net.Conn, do func(string) (string, error)) {
	defer c.Close()
	lines := bufio.NewScanner(c)
	for lines.Scan() {
		answer, err := do(lines.Text())
		if err != nil {
			answer = "error " + err.Error()
		} else {
			answer = "ok " + answer
		}
		if _, err := fmt.Fprintln(c, strings.ReplaceAll(answer, "\n", " ")); err != nil {
			return
		}
	}
}

// Control is the other end of [Serve].
type Control struct {
	c net.Conn
	r *bufio.Reader
}

// Dial connects to a medium's socket.
func Dial(path string) (*Control, error) {
	c, err := net.Dial("unix", path)
	if err != nil {
		return nil, err
	}
	return &Control{c, bufio.NewReader(c)}, nil
}

// Do sends one line and gives the answer.
func (c *Control) Do(line string) (string, error) {
	if _, err := fmt.Fprintln(c.c, line); err != nil {
		return "", err
	}
	answer, err := c.r.ReadString('\n')
	if err != nil {
		return "", err
	}
	word, rest, _ := strings.Cut(strings.TrimRight(answer, "\n"), " ")
	if word != "ok" {
		return "", fmt.Errorf("%s: %s", line, rest)
	}
	return rest, nil
}

// Close hangs up.
func (c *Control) Close() error { return c.c.Close() }
