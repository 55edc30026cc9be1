package api

import (
	"context"
	"fmt"
	"net/http"
	"reflect"
	"time"
)

// Endpoint is one thing that programs may ask.
type Endpoint struct {
	Method, Path string
	// Status is the HTTP status of an answer that is no problem.
	Status int
	About
	// Request and Answered are the Go types the description is made of; Request
	// is nil, and Answered too, where another part of the server answers.
	Request, Answered reflect.Type

	// Otherwise is another answer that is no problem; nil mostly.
	Otherwise *Otherwise

	answer func(w http.ResponseWriter, r *http.Request, login string) (any, error)
}

// About is what people are told about an endpoint.
type About struct {
	// ID is unique; programs that are made from the description name their
	// functions by it.
	ID string
	// Tag is the subject it is listed under.
	Tag Tag
	// Summary says in a line what it is for. Description may add to it, and is
	// empty mostly.
	Summary, Description string
	// Says is what the answer holds.
	Says string
	// Needs names fields of the body that must be there, beside those that the
	// type of the request marks.
	Needs []string
	// Unhurried is true for what may take longer than other answers may.
	Unhurried bool
	// Media is the content type of the answer; empty means JSON.
	Media string
	// Also lists further Go types that the answer is made of, in text.
	Also []reflect.Type
}

// Otherwise is an answer of another status than the usual one.
type Otherwise struct {
	Status int
	// Says is what the answer holds: one of the types Answered.
	Says     string
	Answered []reflect.Type
}

// endpoint describes and wraps a function that answers one kind of request. What
// the request says, wherever it says it, is in the fields of Q (see read).
func endpoint[Q, A any](method, path string, status int, call func(context.Context, Q) (A, error), about About) Endpoint {
	return Endpoint{
		Method: method, Path: path, Status: status, About: about,
		Request: reflect.TypeFor[Q](), Answered: reflect.TypeFor[A](),
		answer: func(w http.ResponseWriter, r *http.Request, login string) (any, error) {
			var request Q
			if err := read(w, r, login, &request); err != nil {
				return nil, err
			}
			if about.Unhurried {
				if err := http.NewResponseController(w).SetWriteDeadline(time.Time{}); err != nil {
					return nil, fmt.Errorf("lift the limit of time: %w", err)
				}
			}
			return call(r.Context(), request)
		},
	}
}

// Answer carries out a request of somebody who logged in under a name, which may
// be empty. It returns the status and what is written as JSON.
func (e Endpoint) Answer(w http.ResponseWriter, r *http.Request, login string) (status int, answer any, err error) {
	answer, err = e.answer(w, r, login)
	if other, ok := answer.(interface{ otherwise() bool }); ok && other.otherwise() {
		return e.Otherwise.Status, answer, err
	}
	return e.Status, answer, err
}

// Requester names the person behind a request, as given with the password; empty
// when there is none.
func Requester(r *http.Request) string {
	name, _, _ := r.BasicAuth()
	return name
}
