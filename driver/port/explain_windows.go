package port

import "fmt"

// checkCOMName accepts any COM name: whether it exists shows when it opens.
func checkCOMName(string) error { return nil }

func forbidden(path string, cause error) error {
	return fmt.Errorf("%w: %s: %w", ErrForbidden, path, cause)
}
