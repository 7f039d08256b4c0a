package rig

// ComparePairs is every pair of an input compared, for tests from outside the
// package that ride simulated checks.
func ComparePairs(in CheckInput) ([]Finding, []Unsaid) {
	var f []Finding
	var u []Unsaid
	for _, p := range powerPairs(in) {
		c := comparePower(in, p)
		f, u = append(f, c.Findings...), append(u, c.Unsaid...)
	}
	return f, u
}
