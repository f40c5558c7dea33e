package store_test

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/stretchr/testify/require"
)

// model is what a store should hold, in the plainest form.
type model struct {
	plans   []*site.Site
	walks   []walk.Walk
	imports map[string]string // content -> name
}

func (m *model) sorted() []walk.Walk {
	out := slices.Clone(m.walks)
	slices.SortStableFunc(out, func(a, b walk.Walk) int {
		return cmp.Or(a.Started.Compare(b.Started), cmp.Compare(a.ID, b.ID))
	})
	return out
}

func (m *model) live(rnd *rand.Rand) *walk.Walk {
	var at []int
	for i, w := range m.walks {
		if w.Source == walk.Live {
			at = append(at, i)
		}
	}
	if len(at) == 0 {
		return nil
	}
	return &m.walks[at[rnd.IntN(len(at))]]
}

// Random operations against a model, from a seed, with the file opened again
// now and then.
func TestAgainstModel(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			rnd := rand.New(rand.NewPCG(seed, 42))
			opt := store.Options{NoSync: true, Version: "test", Clock: func() time.Time { return day }}
			s, path := newStore(t, opt)
			m := model{plans: []*site.Site{hall()}, imports: map[string]string{}}
			for op := range 250 {
				switch rnd.IntN(12) {
				case 0:
					plan := hall()
					plan.ReceiverHeightM = float64(rnd.IntN(3))
					if plan.ReceiverHeightM != m.plans[len(m.plans)-1].ReceiverHeightM {
						m.plans = append(m.plans, plan)
					}
					rev, err := s.PutPlan(plan)
					require.NoError(t, err)
					require.Equal(t, uint64(len(m.plans)), rev)
				case 1, 2:
					h := header(fmt.Sprintf("w%02d", rnd.IntN(20)))
					h.Started = day.Add(time.Duration(rnd.IntN(3)) * time.Hour)
					old := slices.IndexFunc(m.walks, func(w walk.Walk) bool { return w.ID == h.ID })
					err := s.BeginWalk(h)
					switch {
					case old < 0:
						require.NoError(t, err)
						m.walks = append(m.walks, walk.Walk{Header: h})
					case m.walks[old].Started.Equal(h.Started):
						require.NoError(t, err)
					default:
						require.ErrorIs(t, err, store.ErrExists)
					}
				case 3, 4, 5, 6:
					w := m.live(rnd)
					if w == nil {
						continue
					}
					v := visit(uint64(rnd.IntN(60)))
					if rnd.IntN(5) == 0 {
						v.Seq++
					}
					old := slices.IndexFunc(w.Visits, func(o walk.Visit) bool { return o.ID == v.ID })
					err := s.AppendVisit(w.ID, v)
					switch {
					case old < 0:
						require.NoError(t, err)
						w.Visits = append(w.Visits, v)
					case w.Visits[old].Seq == v.Seq:
						require.NoError(t, err)
					default:
						require.ErrorIs(t, err, store.ErrExists)
					}
				case 7, 8:
					w := m.live(rnd)
					if w == nil {
						continue
					}
					mark := walk.Mark{Seq: 1 + rnd.IntN(20), Time: day.Add(time.Duration(rnd.IntN(2))), Kind: []walk.MarkKind{walk.Skip, walk.Void, walk.Finish}[rnd.IntN(3)], Target: "P01"}
					old := slices.IndexFunc(w.Marks, func(o walk.Mark) bool { return o.Seq == mark.Seq })
					err := s.AppendMark(w.ID, mark)
					switch {
					case old < 0:
						require.NoError(t, err)
						w.Marks = append(w.Marks, mark)
						slices.SortFunc(w.Marks, func(a, b walk.Mark) int { return a.Seq - b.Seq })
						w.Completed = w.Completed || mark.Kind == walk.Finish
					case w.Marks[old] == mark:
						require.NoError(t, err)
					default:
						require.ErrorIs(t, err, store.ErrExists)
					}
				case 9:
					w := m.live(rnd)
					if w == nil {
						continue
					}
					require.NoError(t, s.EndWalk(w.ID))
					if !w.Completed {
						seq := len(w.Visits) + len(w.Marks)
						for _, o := range w.Marks {
							seq = max(seq, o.Seq)
						}
						w.Marks = append(w.Marks, walk.Mark{Seq: seq + 1, Time: day, Kind: walk.Finish})
						w.Completed = true
					}
				case 10:
					name, text := fmt.Sprintf("i%d", rnd.IntN(5)), walkText(t, 1+rnd.IntN(6)*300)
					rep, err := importText(s, name, text)
					switch _, known := m.imports[text]; {
					case known:
						require.NoError(t, err)
						require.True(t, rep.AlreadyThere)
						require.Equal(t, m.imports[text], rep.Walk.Name)
					case slices.ContainsFunc(m.walks, func(w walk.Walk) bool { return w.Name == name }):
						require.ErrorIs(t, err, store.ErrExists)
					default:
						require.NoError(t, err)
						m.imports[text] = name
						require.Equal(t, uint64(len(m.plans)), rep.Walk.PlanRev)
						m.walks = append(m.walks, walk.Walk{Header: rep.Walk, Visits: readText(t, text)})
					}
				case 11:
					_, err := importText(s, "bad", walkText(t, 1+rnd.IntN(2000))+"and,then,this\n")
					require.Error(t, err)
				}
				if rnd.IntN(10) == 0 {
					s = reopen(t, s, opt)
				}
				if rnd.IntN(10) == 0 || op == 249 {
					got, err := readAll(s)
					require.NoError(t, err)
					want := contents{Plans: m.plans, Program: "test"}
					for _, w := range m.sorted() {
						want.Walks = append(want.Walks, w)
						want.Headers = append(want.Headers, w.Header)
					}
					require.Equal(t, want, got, "operation %d", op)
				}
			}
			require.NoError(t, s.Close())
			require.Equal(t, len(m.walks), walksOnDisk(t, path))
		})
	}
}

func readText(t *testing.T, text string) []walk.Visit {
	t.Helper()
	got, err := walk.ReadCSV(strings.NewReader(text), "", hall())
	require.NoError(t, err)
	return got.Visits
}
