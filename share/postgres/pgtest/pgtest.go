// Package pgtest starts a PostgreSQL server of its own for tests and for programs that
// measure: in a new folder, on a socket in it, reached by nobody else.
package pgtest

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
)

// ErrNone says that this machine has no PostgreSQL server to start.
var ErrNone = errors.New("no PostgreSQL server here: initdb and pg_ctl are not to be found")

// Server is a server that was started. It runs as another user where this process is root,
// as PostgreSQL refuses to run as root.
type Server struct {
	Dir string // holds the socket, and data/

	bin  string
	as   []string // comes before each command
	made int      // databases
}

// New makes a server's files and starts it.
func New() (s *Server, err error) {
	bin, err := binaries()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("/tmp", "evp-") // a socket's path is short
	if err != nil {
		return nil, err
	}
	s = &Server{Dir: dir, bin: bin}
	defer func() {
		if err != nil {
			os.RemoveAll(dir)
		}
	}()
	if os.Geteuid() == 0 {
		if err := s.handOver(); err != nil {
			return nil, err
		}
	}
	if err := s.run("initdb", "-D", s.data(), "-A", "trust", "-U", "postgres", "--no-locale", "-E", "UTF8", "--no-sync"); err != nil {
		return nil, err
	}
	return s, s.Start()
}

// binaries is the folder of the server's programs: that of the newest version, or that on
// the path.
func binaries() (string, error) {
	list, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb") // the pattern is sound
	if len(list) > 0 {
		return filepath.Dir(list[len(list)-1]), nil
	}
	path, err := exec.LookPath("initdb")
	if err != nil {
		return "", ErrNone
	}
	return filepath.Dir(path), nil
}

// handOver gives the folder to the user that Debian's package made.
func (s *Server) handOver() error {
	u, err := user.Lookup("postgres")
	if err != nil {
		return fmt.Errorf("%w, or no user for it: %w", ErrNone, err)
	}
	if _, err := exec.LookPath("runuser"); err != nil {
		return fmt.Errorf("%w, or no runuser: %w", ErrNone, err)
	}
	s.as = []string{"runuser", "-u", "postgres", "--"}
	uid, _ := strconv.Atoi(u.Uid) // a number on the systems that have runuser
	gid, _ := strconv.Atoi(u.Gid)
	return os.Chown(s.Dir, uid, gid)
}

func (s *Server) data() string { return filepath.Join(s.Dir, "data") }

func (s *Server) run(program string, args ...string) error {
	words := append(slices.Clone(s.as), filepath.Join(s.bin, program))
	words = append(words, args...)
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Dir = s.Dir
	out, err := os.CreateTemp("", "evp-*") // a pipe would wait for the server
	if err != nil {
		return err
	}
	defer os.Remove(out.Name())
	defer out.Close()
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Run(); err != nil {
		text, _ := os.ReadFile(out.Name())
		return fmt.Errorf("%s: %w: %s", program, err, text)
	}
	return nil
}

// Start starts the server, and waits until it answers.
func (s *Server) Start() error {
	options := "-k " + s.Dir + " -c listen_addresses='' -c fsync=off -c max_connections=60 -c unix_socket_permissions=0777"
	var err error
	for range 20 { // what was killed may still hold its memory
		if err = s.run("pg_ctl", "-D", s.data(), "-w", "-t", "60", "-l", filepath.Join(s.Dir, "log"), "-o", options, "start"); err == nil {
			return os.Chmod(s.Dir, 0o755)
		}
		time.Sleep(100 * time.Millisecond)
	}
	return err
}

// Kill ends the server at once, as a power cut would but for what the system has not written
// to the disk yet, and waits until it is gone.
func (s *Server) Kill() error {
	text, err := os.ReadFile(filepath.Join(s.data(), "postmaster.pid"))
	if err != nil {
		return err
	}
	pid, err := strconv.Atoi(strings.SplitN(string(text), "\n", 2)[0])
	if err != nil {
		return err
	}
	p, err := os.FindProcess(pid)
	if err != nil {
		return err
	}
	if err := p.Kill(); err != nil {
		return err
	}
	for p.Signal(syscall.Signal(0)) == nil { // as long as it is there
		time.Sleep(5 * time.Millisecond)
	}
	return nil
}

// Close stops the server and removes its files.
func (s *Server) Close() error {
	err := s.run("pg_ctl", "-D", s.data(), "-m", "immediate", "stop")
	return errors.Join(err, os.RemoveAll(s.Dir))
}

// Connection is how a role reaches a database, as libpq has it.
func (s *Server) Connection(role, database string) string {
	return fmt.Sprintf("host=%s user=%s dbname=%s sslmode=disable", s.Dir, role, database)
}

// Database makes a new database, and returns its name.
func (s *Server) Database() (string, error) {
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, s.Connection("postgres", "postgres"))
	if err != nil {
		return "", err
	}
	defer conn.Close(ctx)
	s.made++
	name := fmt.Sprintf("shop%d", s.made)
	_, err = conn.Exec(ctx, "create database "+name)
	return name, err
}
