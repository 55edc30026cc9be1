package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// axePackage is the accessibility engine that looks at the pages, of the npm
// registry, and axeSum the SHA-512 the registry gives for it
// (dist.integrity); only tests use it.
const (
	axePackage = "axe-core@4.14.1"
	axeSum     = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
)

// axeOnce gets the engine once for all tests of a run.
var axeOnce = sync.OnceValues(func() (string, error) {
	const name = "coilkeep-tests"
	folder, err := os.UserCacheDir()
	if err != nil || os.MkdirAll(filepath.Join(folder, name), 0o755) != nil {
		folder = os.TempDir() // kept less long
	}
	packed, err := keptArchive(filepath.Join(folder, name, axePackage+".tgz"), axeSum, npmPack)
	if err != nil {
		return "", err
	}
	return fileOf(packed, "package/axe.min.js")
})

// axe returns the engine's script. It skips the test where npm cannot get it,
// except where CI promises npm.
func axe(t *testing.T) string {
	t.Helper()
	script, err := axeOnce()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	return script
}

// keptArchive returns the archive that is kept at path, or gets it and keeps it
// there. Only what has the sum, in base64, is taken; a registry that stumbles is
// asked again.
func keptArchive(path, sum string, get func() ([]byte, error)) ([]byte, error) {
	const tries = 3
	matches := func(content []byte) bool {
		got := sha512.Sum512(content)
		return base64.StdEncoding.EncodeToString(got[:]) == sum
	}
	if content, err := os.ReadFile(path); err == nil && matches(content) {
		return content, nil
	}
	var errs []error
	for range tries {
		content, err := get()
		if err == nil && !matches(content) {
			err = errors.New("what came has another checksum")
		}
		if err == nil {
			return content, keep(path, content)
		}
		errs = append(errs, err)
	}
	return nil, errors.Join(errs...)
}

// keep writes a file in one step: other tests may look for it at the same time.
func keep(path string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "new-*")
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// npmPack gets the package from the registry; npm itself tries again after a
// pause when the network is at fault.
func npmPack() ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	folder, err := os.MkdirTemp("", "coilkeep-npm-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	pack := exec.CommandContext(ctx, "npm", "pack", axePackage, "--silent", "--pack-destination", folder,
		"--fetch-retries", "4", "--fetch-retry-mintimeout", "1000", "--fetch-retry-maxtimeout", "10000")
	out, err := pack.CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("npm pack %s: %w: %s", axePackage, err, out)
	}
	return os.ReadFile(filepath.Join(folder, strings.TrimSpace(string(out))))
}

// fileOf returns a file of a gzipped archive as text.
func fileOf(packed []byte, name string) (string, error) {
	unzipped, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return "", fmt.Errorf("unpack %s: %w", axePackage, err)
	}
	for archive := tar.NewReader(unzipped); ; {
		header, err := archive.Next()
		if err != nil {
			return "", fmt.Errorf("find %s in %s: %w", name, axePackage, err)
		}
		if header.Name != name {
			continue
		}
		content, err := io.ReadAll(archive)
		if err != nil {
			return "", fmt.Errorf("unpack %s of %s: %w", name, axePackage, err)
		}
		return string(content), nil
	}
}

// A registry that stumbles makes no test red, what came whole is not asked for
// again, and what is not what it should be is never taken.
func TestKeptArchive(t *testing.T) {
	t.Parallel()
	good := []byte("an archive")
	whole := sha512.Sum512(good)
	sum := base64.StdEncoding.EncodeToString(whole[:])
	path := filepath.Join(t.TempDir(), "cache", "archive.tgz")
	asked := 0
	answer := func(replies ...string) func() ([]byte, error) {
		asked = 0
		return func() ([]byte, error) {
			asked++
			if reply := replies[min(asked, len(replies))-1]; reply != "" {
				return []byte(reply), nil
			}
			return nil, errors.New("registry: 503")
		}
	}
	for _, tt := range []struct {
		name  string
		kept  string // what lies there before; empty leaves it
		get   func() ([]byte, error)
		asks  int
		fails string
	}{
		{"never whole", "", answer("", "an arch"), 3, "another checksum"},
		{"whole at the third try", "", answer("", "an arch", "an archive"), 3, ""},
		{"kept", "", answer(""), 0, ""},
		{"kept, but damaged", "an arxhive", answer("an archive"), 1, ""},
	} {
		if tt.kept != "" {
			if err := os.WriteFile(path, []byte(tt.kept), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		asked = 0
		got, err := keptArchive(path, sum, tt.get)
		switch {
		case tt.fails != "" && (err == nil || !strings.Contains(err.Error(), tt.fails)):
			t.Errorf("%s: %v, want %q", tt.name, err, tt.fails)
		case tt.fails == "" && (err != nil || string(got) != string(good)):
			t.Errorf("%s: got %q, %v", tt.name, got, err)
		}
		if asked != tt.asks {
			t.Errorf("%s: asked %d times, want %d", tt.name, asked, tt.asks)
		}
	}
}
