package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var storyRun = regexp.MustCompile(`(?m)^(?:exec|exits [0-9]) (footrule .*)$`)

// TestReadmeStory holds that the commands of the whole job in README.md are those
// that the script of the story runs, in the same order.
func TestReadmeStory(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	_, after, found := strings.Cut(string(readme), "\n## The whole job, once through\n")
	require.True(t, found)
	section, _, _ := strings.Cut(after, "\n## ")
	var told []string
	for _, line := range strings.Split(section, "\n") {
		if strings.HasPrefix(line, "    footrule ") {
			told = append(told, strings.TrimSpace(line))
		}
	}
	script, err := os.ReadFile(filepath.Join("testdata", "script", "story.txtar"))
	require.NoError(t, err)
	var run []string
	for _, m := range storyRun.FindAllStringSubmatch(string(script), -1) {
		run = append(run, m[1])
	}
	require.NotEmpty(t, told)
	assert.Equal(t, told, run)
}

// TestReadmeCommands holds that every command and flag that README.md shows is there.
func TestReadmeCommands(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	shown := 0
	for _, m := range regexp.MustCompile("(?m)^    footrule (.*)$|`footrule ([^`]+)`").FindAllStringSubmatch(string(readme), -1) {
		words := strings.Fields(m[1] + m[2])
		if words[0] == "COMMAND" || strings.HasPrefix(words[0], "-") {
			continue
		}
		cmd, _, err := newRoot(&shell{}).Find(words[:1])
		if !assert.NoError(t, err, m[0]) {
			continue
		}
		cmd.InitDefaultHelpFlag()
		for _, w := range words[1:] {
			if name, is := strings.CutPrefix(w, "--"); is {
				name, _, _ = strings.Cut(name, "=")
				assert.NotNil(t, cmd.Flags().Lookup(name), "%s: no flag --%s", m[0], name)
			}
		}
		shown++
	}
	assert.Greater(t, shown, 30)
}
