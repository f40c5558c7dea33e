package boot

import "os"

var had, was = false, ""

func init() {
	was, had = os.LookupEnv("CI")
	if !had || was == "" {
		os.Setenv("CI", "1")
	}
}

// Restore gives CI back the value it had when the program started.
func Restore() {
	if had {
		os.Setenv("CI", was)
		return
	}
	os.Unsetenv("CI")
}
