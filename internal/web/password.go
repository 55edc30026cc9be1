package web

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"time"
	"unicode/utf8"

	"golang.org/x/crypto/bcrypt"

	"coilkeep/internal/web/problem"
)

const (
	// wrongPasswordPause is how long a wrong password holds up the next try:
	// two guesses a second at most, whoever makes them.
	wrongPasswordPause = 500 * time.Millisecond
	// longestQueue is how long a try waits for its turn.
	longestQueue = 3 * time.Second
)

// Password guards a daemon that others can reach. Those who know it may do
// everything; the user name they give is free, and the journal notes it.
type Password struct {
	hash []byte
	// key and known remember the password once it was right, keyed by chance
	// and not readable, because bcrypt is slow on purpose and every request
	// brings the password along.
	key   []byte
	known atomic.Pointer[[sha256.Size]byte]
	// turn lets one try at a time be compared.
	turn  chan struct{}
	pause time.Duration
}

// shortestPassword is in characters (NIST SP 800-63B, 5.1.1.2).
const shortestPassword = 8

// HashPassword returns the bcrypt hash that belongs in a password file. It
// refuses an empty password, one of fewer than 8 characters, and one of more than
// 72 bytes, which bcrypt would cut.
func HashPassword(password string) (string, error) {
	if strings.TrimSpace(password) == "" {
		return "", errors.New("the password is empty")
	}
	if n := utf8.RuneCountInString(password); n < shortestPassword {
		return "", fmt.Errorf("the password has %d characters, and is easily guessed; choose one of at least %d", n, shortestPassword)
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(password), bcrypt.DefaultCost)
	if errors.Is(err, bcrypt.ErrPasswordTooLong) {
		return "", errors.New("the password is longer than 72 bytes; choose a shorter one")
	}
	if err != nil {
		return "", fmt.Errorf("hash the password: %w", err)
	}
	return string(hash), nil
}

// ReadPasswordFile reads the hash that [HashPassword] made from the file at
// path.
func ReadPasswordFile(path string) (*Password, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the password file: %w", err)
	}
	hash := strings.TrimSpace(string(content))
	if _, err := bcrypt.Cost([]byte(hash)); err != nil {
		return nil, fmt.Errorf("password file %q does not hold one bcrypt hash: %w", path, err)
	}
	return newPassword(hash), nil
}

func newPassword(hash string) *Password {
	key := make([]byte, sha256.Size)
	rand.Read(key) // never fails, says its documentation
	return &Password{hash: []byte(hash), key: key, turn: make(chan struct{}, 1), pause: wrongPasswordPause}
}

// check returns nil when password is right. It compares in a time that does
// not depend on the password, and takes its time after a wrong one.
func (p *Password) check(ctx context.Context, password string) error {
	digest := p.digest(password)
	if known := p.known.Load(); known != nil && hmac.Equal(known[:], digest[:]) {
		return nil
	}
	queue := time.NewTimer(longestQueue)
	defer queue.Stop()
	select {
	case p.turn <- struct{}{}:
	case <-queue.C:
		return problem.TooManyTries.Because("others are trying passwords at the moment; try again in a minute")
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-p.turn }()

	if bcrypt.CompareHashAndPassword(p.hash, []byte(password)) == nil {
		p.known.Store(&digest)
		return nil
	}
	pause := time.NewTimer(p.pause)
	defer pause.Stop()
	select {
	case <-pause.C:
	case <-ctx.Done():
	}
	return problem.NeedsPassword.Because("the password is wrong")
}

func (p *Password) digest(password string) [sha256.Size]byte {
	mac := hmac.New(sha256.New, p.key)
	mac.Write([]byte(password))
	return [sha256.Size]byte(mac.Sum(nil))
}

// requirePassword lets a request through to next when it brings the password,
// by HTTP Basic (RFC 7617). Whether the daemon is alive and ready may be asked
// without one.
func (s *site) requirePassword(next http.Handler) http.Handler {
	if s.server.Password == nil {
		return next
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/healthz" || r.URL.Path == "/readyz" {
			next.ServeHTTP(w, r)
			return
		}
		_, password, given := r.BasicAuth()
		err := problem.NeedsPassword.Because("this coilkeep asks for a password")
		if given {
			err = s.server.Password.check(r.Context(), password)
		}
		if err != nil {
			s.fail(w, r, err)
			return
		}
		next.ServeHTTP(w, r)
	})
}
