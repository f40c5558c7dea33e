package report

// The colours of text and what lies behind it. Every pair has a contrast of 4.5 : 1
// at least (WCAG 2.2, success criterion 1.4.3).
const (
	inkColour    = "#1b1f23"
	quietColour  = "#565e66"
	linkColour   = "#1d4d6a"
	paperColour  = "#ffffff"
	headColour   = "#e9eef0"
	noteColour   = "#f6efe4"
	metColour    = "#e3f2ea"
	missedColour = "#f9e7e2"
	lineColour   = "#9aa3aa"
)

// pairs are the colours of letters with what they stand on.
var pairs = [][2]string{
	{inkColour, paperColour}, {quietColour, paperColour}, {linkColour, paperColour}, {inkColour, headColour},
	{inkColour, noteColour}, {inkColour, metColour}, {inkColour, missedColour},
}
