//go:build !linux

package main

import (
	"fmt"
	"os"
)

func main() {
	fmt.Fprintln(os.Stderr, "guest: the lab runs on Linux")
	os.Exit(1)
}
