package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// The pages' script writes values to the letter as package words does: its test
// reads the same table.
func TestScriptWritesTheSame(t *testing.T) {
	t.Parallel()
	table, err := os.ReadFile(filepath.Join("..", "..", "internal", "words", "testdata", "words.json"))
	if err != nil {
		t.Fatal(err)
	}
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	page := openTab(t, startDaemon(t, t.TempDir(), benchTOML(meter, probe)).url, "/")
	zone := evaluate[string](page, `(`+string(table)+`).times.zone`)
	if _, err := chromedp.Call(page.ctx, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: zone}); err != nil {
		t.Fatal(err)
	}
	got := evaluate[struct {
		Checked int
		Faults  []string
	}](page, `(async () => {
		const table = `+string(table)+`;
		const { significant, ohms, celsius, verdictWords } = await import("/assets/numbers.js");
		const { localTime } = await import("/assets/times.js");
		const result = { Checked: 0, Faults: [] };
		const check = (cases, write) => cases.forEach((c) => {
			const text = write(c);
			result.Checked++;
			if (text !== c.text) result.Faults.push(JSON.stringify(c) + ": got " + text);
		});
		check(table.significant, (c) => significant(c.value, c.digits));
		check(table.ohms, (c) => ohms(c.value));
		check(table.celsius, (c) => celsius(c.value));
		check(table.verdict, (c) => verdictWords(c.value));
		const otherDay = new Date("2020-02-02T12:00:00Z");
		check(table.times.time, (c) => localTime(new Date(c.value), otherDay));
		// Without the date when it is today, there.
		check(table.times.time.map((c) => ({ ...c, text: c.text.slice(11) })), (c) => localTime(new Date(c.value), new Date(c.value)));
		return result;
	})()`)
	for _, fault := range got.Faults {
		t.Error(fault)
	}
	if got.Checked < 20 {
		t.Errorf("only %d texts were compared", got.Checked)
	}
}
