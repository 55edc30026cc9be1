package history

import (
	"context"
	"database/sql"
	"errors"
	"strings"
	"sync"
)

// mostCompiled bounds the statements that are kept: the program has fewer, but for
// those that are put together from what is asked.
const mostCompiled = 200

// transaction is one change of the history. It runs statements that were run
// before without having them compiled again.
type transaction struct {
	*sql.Tx
	compiled *statements
	fresh    []string // run for the first time
}

// statements are those of the one connection that writes, by their text. There
// are as many as the program has.
type statements struct {
	mu     sync.Mutex
	byText map[string]*sql.Stmt
}

// ExecContext shadows that of sql.Tx.
func (t *transaction) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if s := t.compiledFor(query); s != nil {
		return t.StmtContext(ctx, s).ExecContext(ctx, args...)
	}
	return t.Tx.ExecContext(ctx, query, args...)
}

// QueryContext shadows that of sql.Tx.
func (t *transaction) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if s := t.compiledFor(query); s != nil {
		return t.StmtContext(ctx, s).QueryContext(ctx, args...)
	}
	return t.Tx.QueryContext(ctx, query, args...)
}

// QueryRowContext shadows that of sql.Tx.
func (t *transaction) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if s := t.compiledFor(query); s != nil {
		return t.StmtContext(ctx, s).QueryRowContext(ctx, args...)
	}
	return t.Tx.QueryRowContext(ctx, query, args...)
}

// compiledFor is the statement of a text, nil when it is run for the first time.
func (t *transaction) compiledFor(query string) *sql.Stmt {
	t.compiled.mu.Lock()
	defer t.compiled.mu.Unlock()
	s := t.compiled.byText[query]
	if s == nil {
		t.fresh = append(t.fresh, query)
	}
	return s
}

// keep compiles what a transaction that has ended ran for the first time: only then
// is the one connection free. What cannot be compiled is run as text again, and so
// are several statements in one text, as those of a migration.
func (s *statements) keep(ctx context.Context, writer *sql.DB, texts []string) {
	for _, text := range texts {
		s.mu.Lock()
		enough := s.byText[text] != nil || len(s.byText) >= mostCompiled
		s.mu.Unlock()
		if enough || strings.Contains(text, ";") {
			continue
		}
		compiled, err := writer.PrepareContext(ctx, text)
		if err != nil {
			continue
		}
		s.mu.Lock()
		s.byText[text] = compiled
		s.mu.Unlock()
	}
}

func (s *statements) close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var errs []error
	for _, compiled := range s.byText {
		errs = append(errs, compiled.Close())
	}
	clear(s.byText)
	return errors.Join(errs...)
}
