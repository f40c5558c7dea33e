package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"footrule/internal/input"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"
)

func newNew(sh *shell) *cobra.Command {
	var from, name, size string
	var df drawingFlags
	cmd := &cobra.Command{
		Use:   "new FILE --from PLAN | --size WxD",
		Short: "Make a site file from a plan on paper or a drawing",
		Long: `new makes the site file that walks and readings are kept in. An existing file is
left alone. The plan is a site.toml (floors, walls, points, access points), or a
drawing that becomes the first floor: DXF, whose layers are said with --layer
(footrule plan DRAWING lists them), SVG, GeoJSON, or a picture (PNG, JPEG) to draw
on, with --scale. What is left out is counted and said.

With nothing to begin from, --size makes a rectangle to draw on with footrule plan
FILE --edit: outline, walls, areas, access points and points.

Where FILE ends in .toml, the plan is written there as text, to be corrected and
filled in by hand. Further floors: footrule plan FILE --add DRAWING.

A drawing's unit is what a program's template said. Tape a distance or two in the
building and let footrule plan FILE --tape hold the plan to them.`,
		Example: "  footrule new depot.footrule --from site.toml\n" +
			"  footrule new depot.footrule --from ground.dxf --layer OUTER=outline --layer 'WALL*=brick' --layer AP=aps\n" +
			"  footrule new depot.toml --from ground.dxf --unit mm --layer OUTER=outline\n" +
			"  footrule new depot.footrule --size 60x24m --name 'Harbour Depot'\n" +
			"  footrule new depot.footrule --from ground.png --scale '120,80 920,80 12.5m'",
		Args: files(1, 1, "the FILE to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var plan *site.Site
			var pics pictures
			var err error
			switch {
			case from == "" && size == "":
				return usage(fmt.Errorf("new needs a plan: --from site.toml, or a drawing (%s), or --size 60x24m to draw on", drawings()))
			case from != "" && size != "":
				return usage(errors.New("--from and --size both make the plan; give one of them"))
			case size != "":
				plan, err = blank(size, name, &df)
			default:
				plan, pics, err = planFrom(sh, cmd, from, name, &df)
			}
			if err != nil {
				return err
			}
			if err := nameFor(args[0], plan); err != nil {
				return err
			}
			if isTOML(args[0]) {
				if err := writeTOML(args[0], plan); err != nil {
					return err
				}
			} else {
				st, err := store.Create(args[0], plan, store.Options{Version: version})
				if err != nil {
					return err
				}
				err = pics.keep(st)
				if err := errors.Join(err, st.Close()); err != nil {
					return err
				}
			}
			points := 0
			for _, fl := range plan.Floors {
				points += len(fl.Points)
			}
			fmt.Fprintf(sh.out, "%s: %s, %s, %s with %s, %s\n", args[0], plan.Name, say.Count(len(plan.Floors), "floor"),
				say.Count(len(plan.AccessPoints), "access point"), say.Count(len(plan.Radios()), "radio"), say.Count(points, "point"))
			if points == 0 {
				fmt.Fprintf(sh.out, "the plan has no points: walk lays a grid\n")
			}
			if isTOML(args[0]) {
				fmt.Fprintf(sh.out, "next: look it over, then footrule new %s --from %s\n", strings.TrimSuffix(args[0], filepath.Ext(args[0]))+".footrule", args[0])
				return nil
			}
			if lack := lacking(plan, args[0]); lack != "" {
				fmt.Fprintln(sh.out, lack)
				return nil
			}
			fmt.Fprintf(sh.out, "next: footrule walk %s\n", args[0])
			return nil
		},
	}
	cmd.Flags().StringVar(&from, "from", "", "the plan: a site.toml or a drawing")
	cmd.Flags().StringVar(&name, "name", "", "the site's name, for a drawing or --size (default: the file name)")
	cmd.Flags().StringVar(&size, "size", "", "begin with a rectangle of so many metres, width by depth, such as 60x24m")
	df.add(cmd)
	return cmd
}

// blank is a plan of one rectangle, to draw on.
func blank(size, name string, df *drawingFlags) (*site.Site, error) {
	w, d, ok := strings.Cut(strings.TrimSuffix(strings.ToLower(strings.TrimSpace(size)), "m"), "x")
	x, err1 := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(w), "m"), 64)
	y, err2 := strconv.ParseFloat(strings.TrimSpace(d), 64)
	if !ok || err1 != nil || err2 != nil || !(x > 0 && y > 0) {
		return nil, usage(fmt.Errorf("--size %q; write width by depth in metres, such as 60x24m", size))
	}
	floor := site.Floor{ID: df.floor, Name: df.floorName, ElevationM: df.elevation, Outline: orb.Ring{{0, 0}, {x, 0}, {x, y}, {0, y}}}
	if floor.ID == "" {
		floor.ID = "G"
	}
	if name == "" {
		name = "New site"
	}
	plan := &site.Site{Name: name, ReceiverHeightM: site.DefaultReceiverHeightM, Floors: []site.Floor{floor}}
	var in *input.Error
	if err := plan.Validate(); errors.As(err, &in) {
		return nil, usage(fmt.Errorf("--size %q: %s; %s", size, in.What, in.Want))
	} else if err != nil {
		return nil, err
	}
	return plan, nil
}

// planFrom reads a site.toml, or makes a site of a drawing.
func planFrom(sh *shell, cmd *cobra.Command, from, name string, df *drawingFlags) (*site.Site, pictures, error) {
	if err := foreign(from); err != nil {
		return nil, nil, err
	}
	if !isDrawing(from) {
		if flag := df.given(cmd); flag != "" {
			return nil, nil, usage(fmt.Errorf("--%s is for drawings (%s), and %s is none", flag, drawings(), from))
		}
		plan, err := readTOML(from)
		if err != nil {
			return nil, nil, err
		}
		pics, err := picturesOf(from, plan)
		return plan, pics, err
	}
	o, m, err := df.parse()
	if err != nil {
		return nil, nil, err
	}
	made, pic, err := df.readFloor(from, o, m)
	if err != nil {
		return nil, nil, err
	}
	if name == "" {
		name = siteName(from)
	}
	plan := &site.Site{Name: name, ReceiverHeightM: site.DefaultReceiverHeightM, Floors: []site.Floor{made.Floor}, AccessPoints: made.AccessPoints}
	if err := validate(from, plan); err != nil {
		return nil, nil, err
	}
	printMade(sh.out, made)
	pics := pictures{}
	if pic != nil {
		pics[made.Floor.Drawing.Picture] = pic
	}
	return plan, pics, nil
}

// validate checks a plan and says which file it is of.
func validate(file string, plan *site.Site) error {
	err := plan.Validate()
	var in *input.Error
	if errors.As(err, &in) && in.File == "" {
		in.File = file
	}
	return err
}

func isTOML(path string) bool { return strings.EqualFold(filepath.Ext(path), ".toml") }

// writeTOML writes a plan as text, all of it or nothing; an existing file is
// left alone.
func writeTOML(path string, plan *site.Site) error {
	if _, err := os.Lstat(path); err == nil {
		return usage(fmt.Errorf("%s: %w; it was left alone", path, fs.ErrExist))
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".footrule-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	if err := site.Write(tmp, plan); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Chmod(0o644); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Sync(); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	// A link fails where a rename would replace a file made meanwhile.
	if err := os.Link(tmp.Name(), path); err != nil {
		if os.IsExist(err) {
			return usage(fmt.Errorf("%s: %w; it was left alone", path, fs.ErrExist))
		}
		return os.Rename(tmp.Name(), path)
	}
	return nil
}
