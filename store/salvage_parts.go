package store

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strings"

	"footrule/internal/site"
	"footrule/internal/walk"
)

// format decides what the file is. It is an error where this version can't know
// what the records mean.
func (r *rescue) format(path string) error {
	plain := string(r.meta[string(keyFormat)])
	sealed := ""
	rec, there := r.meta[string(keySealed)]
	if err := unseal(kindFormat, 0, keySealed, rec, &sealed); err != nil && there {
		r.fault("format", "its sealed copy does not check out")
	}
	text := plain
	if sealed != "" {
		r.out.Records++
		if text = sealed; plain != sealed {
			r.fault("format", "reads %q where %q was written", plain, sealed)
		}
	}
	r.out.Format = text
	number, err := formatNumber(text)
	switch {
	case text == "":
		r.fault("format", "is lost")
	case err != nil:
		r.fault("format", "reads %q", text)
	case number > formatVersion:
		return newerFormat(text)
	case number < formatVersion:
		return &Error{Path: path, Kind: ErrOlder, What: fmt.Sprintf("the file has format %s and is read as %s", text, Format), Do: "open it with another command first, which brings it up to date and keeps a copy"}
	}
	return nil
}

func (r *rescue) readState() {
	rec, there := r.meta[string(keyState)]
	err := unseal(kindState, 0, keyState, rec, &r.state)
	switch {
	case !there:
		r.fault("counts of the file", "are lost")
	case err != nil:
		r.fault("counts of the file", "%s", plainly(err))
	default:
		r.stateOK = true
		r.out.Records++
		r.out.Program = r.state.Program
	}
}

func (r *rescue) readPlans() {
	last := r.state.Plans
	for rev := range r.plans {
		if rev <= r.state.Plans || !r.stateOK || rev-r.state.Plans < 1<<16 {
			last = max(last, rev)
		}
	}
	revs := slices.Sorted(maps.Keys(r.plans))
	for rev := uint64(1); rev <= last && rev < 1<<16; rev++ {
		if _, there := r.plans[rev]; !there {
			r.fault(fmt.Sprintf("plan, revision %d", rev), "is lost")
		}
	}
	for _, rev := range revs {
		where := fmt.Sprintf("plan, revision %d", rev)
		plan := new(site.Site)
		if err := unseal(kindPlan, 0, be64(rev), r.plans[rev], plan); err != nil {
			r.fault(where, "%s", plainly(err))
			continue
		}
		r.out.Records++
		if r.stateOK && rev > r.state.Plans {
			r.fault(where, "is beyond the %d that the file counts", r.state.Plans)
		}
		if err := plan.Validate(); err != nil {
			r.fault(where, "%v", err)
		}
		r.out.Plans[rev] = plan
	}
}

// readWalks decodes the walks and gives what each is called.
func (r *rescue) readWalks() map[uint64]string {
	names := map[uint64]string{}
	count := uint64(0)
	for _, no := range slices.Sorted(maps.Keys(r.walks)) {
		l := r.walks[no]
		if l.head == nil && l.pending {
			r.out.Pending++
			continue
		}
		count++
		var h head
		where := fmt.Sprintf("walk %d", no)
		err := unseal(kindHead, no, keyHead, l.head, &h)
		headOK := l.head != nil && err == nil
		switch {
		case l.head == nil:
			r.fault(where, "its header is lost")
		case err != nil:
			r.fault(where, "its header: %s", plainly(err))
		default:
			r.out.Records++
			where = "walk " + title(&h.Header)
		}
		names[no] = where
		w := walk.Walk{Header: h.Header}
		if !headOK {
			w.Header = walk.Header{ID: fmt.Sprintf("lost-%d", no), Name: fmt.Sprintf("walk %d, header lost", no)}
		}
		if headOK && h.Header.Source == walk.Imported && !l.addsUp(no, &h) {
			// An import writes some blocks again, when it has all of their rows.
			for _, first := range l.loose {
				delete(l.visits, first)
			}
		}
		r.readVisits(&w, l, no, where, headOK, &h)
		r.readMarks(&w, l, no, where, headOK, &h)
		if headOK || len(w.Visits)+len(w.Marks) > 0 {
			r.out.Walks = append(r.out.Walks, w)
		}
	}
	if r.stateOK && count != r.state.Walks {
		r.fault("walks", "%d are there, not %d", count, r.state.Walks)
	}
	slices.SortStableFunc(r.out.Walks, func(a, b walk.Walk) int { return byStart(a.Header, b.Header) })
	return names
}

func title(h *walk.Header) string {
	if h.Name != "" {
		return h.Name
	}
	return h.ID
}

// readVisits reads the blocks of a walk in their order.
func (r *rescue) readVisits(w *walk.Walk, l *lostWalk, no uint64, where string, headOK bool, h *head) {
	const absent = "not there"
	next, why, whole := uint64(0), absent, true
	gap := func(to uint64) { // the visits from next up to that place are not there
		if to > next {
			r.fault(where, "%s", visitsLost(next+1, to, why))
			whole = false
		}
		why = absent
	}
	scans, readings := 0, 0
	for _, first := range slices.Sorted(maps.Keys(l.visits)) {
		payload, err := payloadOf(kindBlock, no, be64(first), l.visits[first])
		var visits []walk.Visit
		if err == nil {
			visits, err = unpackBlock(payload)
		}
		switch {
		case first < next:
			r.fault(where, "visits from %d on stand in it twice", first+1)
			whole = false
			continue
		case err != nil:
			gap(first)
			next, why = first, plainly(err)
			continue
		}
		gap(first)
		r.out.Records++
		for i := range visits {
			scans += len(visits[i].Scans)
			for j := range visits[i].Scans {
				readings += len(visits[i].Scans[j].Readings)
			}
		}
		w.Visits = append(w.Visits, visits...)
		next = first + uint64(len(visits))
	}
	switch {
	case headOK && next < uint64(h.Visits):
		gap(uint64(h.Visits))
	case why != absent:
		r.fault(where, "visits from %d on: %s", next+1, why)
		whole = false
	}
	if !headOK || !whole {
		return
	}
	if next != uint64(h.Visits) || scans != h.Scans || readings != h.Readings {
		r.fault(where, "has %d visits, %d scans and %d readings, not the %d, %d and %d that its header counts", next, scans, readings, h.Visits, h.Scans, h.Readings)
	}
}

// addsUp says whether the blocks of a walk hold what its header counts.
func (l *lostWalk) addsUp(no uint64, h *head) bool {
	visits, scans, readings := 0, 0, 0
	for first, rec := range l.visits {
		payload, err := payloadOf(kindBlock, no, be64(first), rec)
		if err != nil {
			return false
		}
		block, err := unpackBlock(payload)
		if err != nil {
			return false
		}
		visits += len(block)
		for i := range block {
			scans += len(block[i].Scans)
			for j := range block[i].Scans {
				readings += len(block[i].Scans[j].Readings)
			}
		}
	}
	return visits == h.Visits && scans == h.Scans && readings == h.Readings
}

func visitsLost(from, to uint64, why string) string {
	if from == to {
		return fmt.Sprintf("visit %d: %s", from, why)
	}
	return fmt.Sprintf("visits %d to %d: %s", from, to, why)
}

func (r *rescue) readMarks(w *walk.Walk, l *lostWalk, no uint64, where string, headOK bool, h *head) {
	for _, seq := range slices.Sorted(maps.Keys(l.marks)) {
		var m walk.Mark
		if err := unseal(kindMark, no, be64(seq), l.marks[seq], &m); err != nil {
			r.fault(where, "mark %d: %s", seq, plainly(err))
			continue
		}
		r.out.Records++
		w.Marks = append(w.Marks, m)
	}
	if headOK && len(l.marks) != h.Marks {
		r.fault(where, "has %d marks, not the %d that its header counts", len(l.marks), h.Marks)
	}
}

func (r *rescue) readPictures() {
	for _, key := range slices.Sorted(maps.Keys(r.pictures)) {
		where := fmt.Sprintf("picture %.8x", key)
		data, err := payloadOf(kindPicture, 0, []byte(key), r.pictures[key])
		if err != nil {
			r.fault(where, "%s", plainly(err))
			continue
		}
		r.out.Records++
		if sum := sha256.Sum256(data); string(sum[:]) != key {
			r.fault(where, "is another than its name says")
			continue
		}
		r.out.Pictures[hex.EncodeToString([]byte(key))] = data
	}
}

// references checks that what names something else names what is there.
func (r *rescue) references() {
	floors := map[string]bool{}
	for _, rev := range slices.Sorted(maps.Keys(r.out.Plans)) {
		for i := range r.out.Plans[rev].Floors {
			f := &r.out.Plans[rev].Floors[i]
			floors[f.ID] = true
			if d := f.Drawing; d != nil && d.Picture != "" && r.pictures[rawKey(d.Picture)] == nil {
				r.fault(fmt.Sprintf("plan, revision %d", rev), "the picture of floor %s is not in the file", f.ID)
			}
		}
	}
	ids := map[string]bool{}
	for i := range r.out.Walks {
		w := &r.out.Walks[i]
		where := "walk " + title(&w.Header)
		if ids[w.ID] {
			r.fault(where, "has the ID %s of another walk", w.ID)
		}
		ids[w.ID] = true
		if r.stateOK && w.PlanRev > r.state.Plans {
			r.fault(where, "was walked on revision %d of the plan, and the file has %d", w.PlanRev, r.state.Plans)
		}
		visits, strange := map[string]bool{}, map[string]int{}
		for j := range w.Visits {
			v := &w.Visits[j]
			if visits[v.ID] {
				r.fault(where, "has visit %s twice", v.ID)
			}
			visits[v.ID] = true
			if len(floors) > 0 && !floors[v.Floor] {
				strange[v.Floor]++
			}
		}
		for _, f := range slices.Sorted(maps.Keys(strange)) {
			r.fault(where, "%d visits are on a floor %q that no plan has", strange[f], f)
		}
		for _, m := range w.Marks {
			if (m.Kind == walk.Void || m.Kind == walk.Unvoid) && !visits[m.Target] {
				r.fault(where, "mark %d is about visit %q, which is not there", m.Seq, m.Target)
			}
		}
	}
}

// rawKey is the key of a picture, empty for no ID.
func rawKey(id string) string {
	key, err := hex.DecodeString(id)
	if err != nil {
		return ""
	}
	return string(key)
}

// plainly says what is wrong with a record without its key and number, which
// stand beside it.
func plainly(err error) string {
	if s := err.Error(); !strings.HasSuffix(s, "does not check out") {
		return s
	}
	return "does not check out"
}
