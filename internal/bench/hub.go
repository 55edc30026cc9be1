package bench

import "sync"

// Hub hands live events to whoever listens. The zero value is ready.
type Hub struct {
	mu        sync.Mutex
	listeners map[chan Event]struct{}
}

// backlog is how many events a listener may be behind. One that falls further
// back is cut off rather than fed old news: it can ask again for the present.
const backlog = 256

// Subscribe returns the events from now on. The channel is closed when the
// listener falls too far behind or calls cancel; cancel may be called twice.
func (h *Hub) Subscribe() (events <-chan Event, cancel func()) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.listeners == nil {
		h.listeners = map[chan Event]struct{}{}
	}
	c := make(chan Event, backlog)
	h.listeners[c] = struct{}{}
	return c, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		h.drop(c)
	}
}

// Publish gives e to every listener. It never blocks.
func (h *Hub) Publish(e Event) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for c := range h.listeners {
		select {
		case c <- e:
		default:
			h.drop(c)
		}
	}
}

func (h *Hub) drop(c chan Event) {
	if _, ok := h.listeners[c]; ok {
		delete(h.listeners, c)
		close(c)
	}
}
