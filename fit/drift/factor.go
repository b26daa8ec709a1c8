package drift

// The state is decided by three rules at once: a point beyond Shewhart's limits, the
// moving average beyond its own, the cumulative sum beyond its interval. Each alone is
// rarely wrong, all three together in one point of 120, and far oftener by limits that
// come from a short baseline (C. P. Quesenberry, The effect of sample size on estimated
// limits for X-bar and X control charts, J. Qual. Technol. 25, 237, 1993; L. A. Jones,
// C. W. Champ, S. E. Rigdon, The performance of exponentially weighted moving average
// charts with estimated parameters, Technometrics 43, 156, 2001; both from memory). So the
// limits that decide lie farther out than those that are drawn, by a factor of the number
// of points in the baseline.

// FalseAlarm is the number of points in which the rules that decide, together, make one
// false alarm: as many as Shewhart's limits alone would, known exactly.
const FalseAlarm = 370

// decidingFactors are by how many times as far as drawn a rule's limit lies where it
// decides, by points of the baseline: worked out by simulating 60,000 charts of single
// normal values, so that the chance of any false alarm is at most 1 - exp(-n/FalseAlarm)
// within the first n = 60 points, 0.15, and within n = 250, a year of working days, 0.49.
// Of several sessions a day the deviation is known better: then there are fewer.
// TestFalseAlarms simulates it again.
var decidingFactors = []struct {
	points int
	factor float64
}{
	{10, 2.21}, {12, 1.89}, {15, 1.62}, {20, 1.39}, {25, 1.275}, {30, 1.20}, {40, 1.15}, {60, 1.12}, {100, 1.095}, {200, 1.08},
}

// decidingFactor is that for a baseline: between two of the table by one over the points,
// below it that of the shortest, beyond it that of the longest.
func decidingFactor(baseline int) float64 {
	last := len(decidingFactors) - 1
	if baseline <= decidingFactors[0].points {
		return decidingFactors[0].factor
	}
	for i, next := range decidingFactors[1:] {
		if baseline > next.points {
			continue
		}
		before := decidingFactors[i]
		inverse := func(points int) float64 { return 1 / float64(points) }
		share := (inverse(before.points) - inverse(baseline)) / (inverse(before.points) - inverse(next.points))
		return before.factor + share*(next.factor-before.factor)
	}
	return decidingFactors[last].factor
}
