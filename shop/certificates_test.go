package shop

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"evenpole/fit/level"
	"evenpole/fit/verdict"
)

// Certificates are numbered through a shop, and every one that was issued stays: also
// where two ids make one file name, or a pickup comes back under an id.
func TestCertificatesAreNumberedAndKept(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	issue := func(pickup string, answer verdict.Answer, dof level.Figure, number, supersedes int) {
		t.Helper()
		v := &verdict.Verdict{Order: "A-1", Pickup: pickup, Verdict: answer, Strings: []verdict.String{{Number: 1, DOF: dof}}}
		before, err := s.Certificates()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Issue(v, Names{}, before); err != nil {
			t.Fatal(err)
		}
		if v.Certificate != number || v.Supersedes != supersedes {
			t.Errorf("%s, %s: got no. %d in place of %d, want %d and %d", pickup, answer, v.Certificate, v.Supersedes, number, supersedes)
		}
		for _, file := range s.CertificateFiles(v.Certificate, v.Order, v.Pickup) {
			if err := s.WriteCertificate(file, text(string(answer))); err != nil {
				t.Fatal(err)
			}
		}
	}
	issue("x/y", verdict.Conforms, 30, 1, 0)
	issue("x_y", verdict.OutOfTolerance, 30, 2, 0)
	issue("x/y", verdict.Conforms, 30, 1, 0) // says the same
	issue("x/y", verdict.OutOfTolerance, 30, 3, 1)
	issue("x/y", verdict.Conforms, level.Figure(math.NaN()), 4, 3)
	issue("x/y", verdict.Conforms, level.Figure(math.NaN()), 4, 3)
	first := s.CertificateFiles(1, "A-1", "x/y")[0]
	if now, err := os.ReadFile(first); err != nil || string(now) != string(verdict.Conforms) {
		t.Errorf("certificate 1 says %q, %v", now, err)
	}
	all, err := s.Certificates()
	if err != nil || len(all) != 4 || all[2].Pickup != "x/y" || all[2].Verdict.Verdict != verdict.OutOfTolerance {
		t.Errorf("kept %+v, %v", all, err)
	}
}

// What another check has issued since the certificates were read counts.
func TestCertificatesReadBeforeAnother(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	issue := func(answer verdict.Answer, number, supersedes int) {
		t.Helper()
		v := &verdict.Verdict{Order: "A-1", Pickup: "x", Verdict: answer}
		if _, err := s.Issue(v, Names{}, nil); err != nil || v.Certificate != number || v.Supersedes != supersedes {
			t.Errorf("got no. %d in place of %d, %v, want %d and %d", v.Certificate, v.Supersedes, err, number, supersedes)
		}
	}
	issue(verdict.Conforms, 1, 0)
	issue(verdict.OutOfTolerance, 2, 1)
	issue(verdict.OutOfTolerance, 2, 1)
	if err := os.WriteFile(s.certificate(3), []byte(`{"certificate": 1}`), 0o644); err != nil { // by hand
		t.Fatal(err)
	}
	issue(verdict.CannotTell, 4, 2)
}

// A certificate that cannot be read is named. Once it is moved away its pages stay, and no
// other certificate gets its number.
func TestDamagedCertificate(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	issue := func() *verdict.Verdict {
		t.Helper()
		v := &verdict.Verdict{Order: "A-1", Pickup: "x", Verdict: verdict.Conforms}
		before, err := s.Certificates()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Issue(v, Names{}, before); err != nil {
			t.Fatal(err)
		}
		return v
	}
	v := issue()
	pages := s.CertificateFiles(v.Certificate, v.Order, v.Pickup)
	if err := s.WriteCertificate(pages[0], text("first")); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.certificate(1), []byte("{"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Certificates(); !errors.Is(err, ErrCertificate) || !strings.Contains(err.Error(), "0001.json: ") {
		t.Errorf("got %v", err)
	}
	if err := os.Remove(s.certificate(1)); err != nil {
		t.Fatal(err)
	}
	if v := issue(); v.Certificate != 2 {
		t.Errorf("got no. %d, of which there are pages", v.Certificate)
	}
}

// Checks that end at the same time take numbers of their own.
func TestCertificatesAtOnce(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	numbers := make([]int, 8)
	var all sync.WaitGroup
	for i := range numbers {
		all.Go(func() {
			v := &verdict.Verdict{Order: "A-1", Pickup: string(rune('a' + i))}
			if _, err := s.Issue(v, Names{}, nil); err != nil {
				t.Error(err)
			}
			numbers[i] = v.Certificate
		})
	}
	all.Wait()
	slices.Sort(numbers)
	if want := []int{1, 2, 3, 4, 5, 6, 7, 8}; !slices.Equal(numbers, want) {
		t.Errorf("got %v", numbers)
	}
}

// A certificate that somebody has spoilt stops the next one: its number would be lost.
func TestSpoiltCertificate(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	file := s.certificate(7)
	if err := os.Mkdir(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte("{"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Certificates(); err == nil || !strings.Contains(err.Error(), file) {
		t.Errorf("got %v", err)
	}
}

// Another customer's name makes another certificate, and what changed is said; the same
// one again says the same.
func TestCertificateSaysWhatChanged(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	issue := func(customer string, answer verdict.Answer, deviation float64) (*verdict.Verdict, []string) {
		t.Helper()
		v := &verdict.Verdict{Order: "A-1", Pickup: "x", Verdict: answer, Strings: []verdict.String{{Number: 1, Deviation: level.Figure(deviation)}}}
		before, err := s.Certificates()
		if err != nil {
			t.Fatal(err)
		}
		changed, err := s.Issue(v, Names{Customer: customer}, before)
		if err != nil {
			t.Fatal(err)
		}
		return v, changed
	}
	issue("Ada", verdict.CannotTell, 0.9)
	for range 2 {
		v, changed := issue("Ada L.", verdict.Conforms, 0.2)
		want := []string{"verdict: cannot tell yet, now conforms", "the customer's name", "deviation of string 1: +0.90 dB, now +0.20 dB"}
		if v.Certificate != 2 || v.Supersedes != 1 || !slices.Equal(changed, want) {
			t.Errorf("no. %d in place of %d: %q, want %q", v.Certificate, v.Supersedes, changed, want)
		}
	}
}
