package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"coilkeep/internal/compare"
	"coilkeep/internal/pdftest"
)

// answeringDaemon is a daemon over a history with two coils, and the workshop
// whose commands read the same history.
func answeringDaemon(t *testing.T) (*testDaemon, testShop) {
	t.Helper()
	w := newWorkshop(t)
	text, err := os.ReadFile(w.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(w.config, []byte(strings.Replace(string(text), "coils.db", "history.db", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	w.history = filepath.Join(w.folder, "history.db")
	w.fill(t, 6690, 6720)
	_, benches, _ := strings.Cut(string(text), "[[bench]]")
	return startDaemon(t, w.folder, "[[bench]]"+benches), w
}

// kept is a comparison as the API tells it.
type kept struct {
	compare.Result
	ID     string `json:"id"`
	Letter string `json:"letter"`
	Serial string `json:"serial"`
}

// fetch reads a document of the daemon.
func (d *testDaemon) fetch(path string) []byte {
	d.t.Helper()
	response, err := http.Get(d.url + path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		d.t.Fatalf("%s: status %d, %v", path, response.StatusCode, err)
	}
	return content
}

// arrives waits until another page with this heading has taken the place of the
// present one.
func (b *tab) arrives(heading string) {
	b.t.Helper()
	b.arrivesWith("h1", heading)
}

// arrivesWith waits until another page has taken the place of the present one
// and says something in a place. Nothing can be asked of a page that is on its way.
func (b *tab) arrivesWith(selector, words string) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, browserWait)
	defer cancel()
	again := time.NewTicker(20 * time.Millisecond)
	defer again.Stop()
	for {
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector(%q)?.textContent ?? ""`, selector)))
		if err == nil && strings.Contains(got, words) {
			return
		}
		select {
		case <-ctx.Done():
			b.t.Fatalf("waited in vain for a page with %q in %s: %q, %v", words, selector, got, err)
		case <-again.C:
		}
	}
}

// Someone wrote that their new coil reads 6.3 k: from there to an answer that can
// be sent takes less than a minute, by keyboard alone.
func TestBrowserAnswersWithinAMinute(t *testing.T) {
	t.Parallel()
	d, w := answeringDaemon(t)
	page := openTab(t, d.url, "/answer")
	began := time.Now()
	page.wait("the first field", `document.activeElement.id === "serial"`)
	page.keys("hn-0001")
	page.waitText("#answer", "What did they read?")
	page.key("Tab", 9)
	page.keys("6.3 k")
	page.waitText("#answer [data-headline]", "They do not agree")
	page.waitText("[data-said]", "They do not agree")
	page.waitText("#answer .causes li", "Temperature")
	page.wait("the picture", `document.querySelector("#answer svg.chart")?.checkVisibility()`)
	page.wait("the letter", `document.getElementById("letter").value.includes("Thank you for measuring")`)

	// They say more: the answer and the letter follow.
	page.key("Tab", 9)
	page.keys("6.5")
	page.waitText("#answer [data-headline]", "They agree")
	page.wait("the letter to follow", `document.getElementById("letter").value.includes("At 6.5 °C") || `+
		`document.getElementById("letter").value.includes("At 7 °C")`)

	// What was changed by hand stays, though the answer moves on.
	evaluate[bool](page, `(document.getElementById("letter").focus(), document.getElementById("letter").setSelectionRange(0, 0), true)`)
	page.keys("Dear Ida, ")
	evaluate[bool](page, `(document.getElementById("their_meter").focus(), true)`)
	page.keys("a yellow one")
	page.wait("the offer of the other text", `document.querySelector("[data-renew]")?.checkVisibility()`)
	page.wait("the letter to stay", `document.getElementById("letter").value.startsWith("Dear Ida, Thank you")`)
	evaluate[bool](page, `(document.querySelector("button[value=keep]").focus(), true)`)
	page.typeAt("\r", 0)
	page.arrives("Answer about HN-0001")
	page.waitText(".sent", "Dear Ida, Thank you for measuring")
	if took := time.Since(began); took > time.Minute {
		t.Errorf("it took %v", took)
	}

	var list struct {
		Comparisons []kept `json:"comparisons"`
	}
	fromJSON(t, string(d.fetch("/api/v1/comparisons")), &list)
	if len(list.Comparisons) != 1 {
		t.Fatalf("%d answers were kept, want 1", len(list.Comparisons))
	}
	answer := list.Comparisons[0]
	if answer.Serial != "HN-0001" || !strings.HasPrefix(answer.Letter, "Dear Ida, Thank you") {
		t.Errorf("kept %q about %q", answer.Letter, answer.Serial)
	}
	// The command says the same, to the last digit.
	var command compare.Result
	fromJSON(t, w.ok(t, "compare", "--serial", "HN-0001", "--theirs", "6.3 k", "--temperature", "6.5", "--json"), &command)
	if !reflect.DeepEqual(command, answer.Result) {
		t.Errorf("the command says\n%+v\nthe page\n%+v", command, answer.Result)
	}
	document := strings.Join(pdftest.Pages(t, d.fetch("/answers/"+answer.ID+"/answer.pdf"))[0], " ")
	if !strings.Contains(document, "Dear Ida, Thank you") {
		t.Errorf("the document says %q", document)
	}
}

// What cannot be is told at its field, and mended there.
func TestBrowserAnswerNamesTheField(t *testing.T) {
	t.Parallel()
	d, _ := answeringDaemon(t)
	page := openTab(t, d.url, "/answer?serial=HN-0001")
	page.wait("the field to type into", `document.activeElement.id === "theirs"`)
	page.keys("6.3k")
	page.waitText("#answer [data-headline]", "They do not agree")
	page.key("Tab", 9)
	page.keys("-300")
	page.waitText("#answer [role=alert]", "absolute zero")
	page.wait("the field to be marked", `document.getElementById("temperature").ariaInvalid === "true"`)
	evaluate[bool](page, `(document.getElementById("temperature").select(), true)`)
	page.keys("44 °F")
	page.waitText("#answer [data-headline]", "They agree")
	page.wait("the mark to go", `!document.querySelector("#ask [aria-invalid]")`)
	page.press("details summary")
	evaluate[bool](page, `(document.getElementById("also-0-theirs").focus(), true)`)
	page.keys("6.7k")
	page.wait("the second reading", `document.querySelectorAll("#answer .found li").length === 2`)
}

func TestBrowserAnswersAreAccessible(t *testing.T) {
	t.Parallel()
	engine := axe(t)
	d, _ := answeringDaemon(t)
	page := openTab(t, d.url, "/answer?serial=HN-0001&theirs=6.3k&clips=jack")
	page.press("button[value=keep]")
	page.arrives("Answer about HN-0001")
	here := evaluate[string](page, "location.pathname")
	for i, path := range []string{"/answer", "/answer?serial=HN-0001&theirs=6.3k&clips=jack&also.0.theirs=6.6k&cable=1",
		"/answer?serial=HN-0404&theirs=6.3k", "/answers", here, "/coils/HN-0001"} {
		page.open(path)
		page.inspect(path, engine, i)
	}
}
