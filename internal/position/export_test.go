package position

// JudgeWatched lets tests see the fit by which each place is judged.
var JudgeWatched = judgeWatched
