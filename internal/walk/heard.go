package walk

// HeardIn counts the access points that a visit heard at or above the walk's
// threshold: those with a radio whose mean level, over the scans that heard it,
// is there. A box with two bands counts once.
func (s *Session) HeardIn(v *Visit) int {
	stays := Stays(s.site, []Walk{{Visits: []Visit{*v}}}, ByVisit)
	if len(stays) == 0 {
		return 0
	}
	aps := map[int]bool{}
	for k, r := range s.site.Radios() {
		if l := stays[0].Levels[k]; l.Heard > 0 && l.MeanDBm >= s.walk.Settings.ThresholdDBm {
			aps[r.AP] = true
		}
	}
	return len(aps)
}
