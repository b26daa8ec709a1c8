// Package next proposes what to capture next, so that a falloff model's predictions of
// pickups to come get as narrow as a few captures can make them.
//
// The way through: [Next] (next.go) is asked with the pickups to come, each a [Want],
// and answers with a [Proposal] for each capture (proposal.go). bench.go lists the pickups that could
// be on the jig, of the record or to be wound. unknowns.go gives the model's parameters
// and the effects that several captures share their places and their covariance, as far
// as the record tells. candidate.go works out what the capture of a pickup under a string
// set would measure of them, and with how much noise. search.go chooses one capture after
// the other, each time for the least uncertainty of the balances to come.
//
// Levels are in ln v, proposals in dB, lengths in mm.
package next
