package coverage

// Weight is [position.HeardWeight] of a level so many spreads above the floor of
// hearing, as maps take it.
func Weight(spreads, never float64) float64 {
	return newWeights(never).at((weightReach - spreads) * weightSteps)
}
