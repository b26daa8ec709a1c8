// Package report draws pictures and writes documents: the pole picture, the
// balance chart and the certificate. It draws what it is given and computes
// nothing of its own.
package report
