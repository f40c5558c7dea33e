package main

import (
	"os"

	_ "footrule/internal/boot"
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
