package page

import (
	"crypto/rand"
	"net"
	"slices"
	"strconv"
)

// Listen listens on an address and reports whether that reaches this machine alone.
func Listen(address string) (l net.Listener, loopback bool, err error) {
	if l, err = net.Listen("tcp", address); err != nil {
		return nil, false, err
	}
	at, ok := l.Addr().(*net.TCPAddr)
	return l, ok && at.IP.IsLoopback(), nil
}

// NewCode draws an access code: letters and figures that are told apart, 60 bits.
func NewCode() string { return rand.Text()[:12] }

// Addresses are where a browser finds what a listener serves; of one that listens on
// all addresses, those that this machine has now.
func Addresses(l net.Listener) []string {
	at, ok := l.Addr().(*net.TCPAddr)
	if !ok || !at.IP.IsUnspecified() {
		return []string{"http://" + l.Addr().String() + "/"}
	}
	var out []string
	all, _ := net.InterfaceAddrs() // without any, there is none to name
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && !n.IP.IsLinkLocalUnicast() {
			out = append(out, "http://"+net.JoinHostPort(n.IP.String(), strconv.Itoa(at.Port))+"/")
		}
	}
	slices.Sort(out)
	return out
}
