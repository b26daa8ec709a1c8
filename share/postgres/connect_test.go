package postgres

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// TestTheConnectionIsNeverPrinted: whatever goes wrong, no error has the host, the role, the
// password or the database in it.
func TestTheConnectionIsNeverPrinted(t *testing.T) {
	database := fresh(t, "north")
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer silent.Close()
	go func() {
		for {
			c, err := silent.Accept()
			if err != nil {
				return
			}
			fmt.Fprint(c, "what is this?")
			c.Close()
		}
	}()
	port := silent.Addr().(*net.TCPAddr).Port
	const secret = "s3cr3t"
	for what, text := range map[string]string{
		"no such role":     fmt.Sprintf("host=%s user=hidden-role password=%s dbname=%s", server.Dir, secret, database),
		"no such database": fmt.Sprintf("host=%s user=evenpole_north password=%s dbname=hidden-db", server.Dir, secret),
		"no such host":     "host=hidden-host.invalid user=hidden-role dbname=hidden-db password=" + secret,
		"no socket":        "host=/tmp/hidden-host user=hidden-role dbname=hidden-db password=" + secret,
		"nobody listens":   "host=127.0.0.1 port=1 user=hidden-role dbname=hidden-db password=" + secret,
		"another protocol": fmt.Sprintf("host=127.0.0.1 port=%d user=hidden-role dbname=hidden-db password=%s sslmode=require", port, secret),
		"not a connection": "host=hidden-host pass word=" + secret + " =",
		"an address":       "postgres://hidden-role:" + secret + "@hidden-host.invalid/hidden-db?sslmode=sometimes",
		"no certificate":   "host=hidden-host.invalid sslmode=verify-full sslrootcert=/tmp/hidden-db user=hidden-role password=" + secret,
	} {
		t.Run(what, func(t *testing.T) {
			_, err := Open(context.Background(), connectionFile(t, text))
			if err == nil {
				t.Fatal("no error")
			}
			for _, part := range []string{"hidden", secret, "127.0.0.1", server.Dir, "evenpole_north"} {
				if strings.Contains(err.Error(), part) {
					t.Errorf("%q has %q in it", err, part)
				}
			}
		})
	}
}

func TestTheFileOfAConnectionIsItsOwners(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("files have no such modes")
	}
	path := connectionFile(t, "host=/tmp/x user=hidden dbname=y")
	for _, mode := range []os.FileMode{0o644, 0o640, 0o604, 0o660} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		if _, err := settings(path); err == nil || !strings.Contains(err.Error(), "chmod 600") || strings.Contains(err.Error(), "hidden") {
			t.Errorf("mode %04o: %v", mode, err)
		}
	}
	if err := os.Chmod(path, 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err := settings(path); err != nil || c.Host != "/tmp/x" {
		t.Errorf("mode 0600: %v", err)
	}
	link := filepath.Join(t.TempDir(), "connection")
	if err := os.Symlink(path, link); err != nil {
		t.Skip(err)
	}
	if _, err := settings(link); err == nil {
		t.Error("a link is followed")
	}
}

func TestTheEnvironmentIsRead(t *testing.T) {
	none := filepath.Join(t.TempDir(), "connection")
	if _, err := settings(none); err == nil {
		t.Error("there is a connection where nothing says so")
	}
	t.Setenv("PGHOST", "db.example")
	t.Setenv("PGSSLMODE", "verify-full")
	c, err := settings(none)
	if err != nil || c.Host != "db.example" || c.TLSConfig == nil || c.TLSConfig.InsecureSkipVerify || len(c.Fallbacks) > 0 {
		t.Errorf("from the environment: %v", err)
	}
	services := filepath.Join(t.TempDir(), "services.conf")
	if err := os.WriteFile(services, []byte("[winders]\nhost=service.example\nsslmode=require\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PGHOST", "")
	t.Setenv("PGSSLMODE", "")
	t.Setenv("PGSERVICEFILE", services)
	t.Setenv("PGSERVICE", "winders")
	if c, err = settings(none); err != nil || c.Host != "service.example" || c.TLSConfig == nil {
		t.Errorf("from PGSERVICE: %v", err)
	}
}
