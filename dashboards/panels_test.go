package dashboards

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/heatmap"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/statetimeline"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// panel is what every panel has. Says is shown when one points at its title.
type panel struct {
	title, says string
	unit        string // of Grafana: "ohm", "celsius", "percentunit", "s"…
	wide, high  uint32 // of 24 columns, in rows
	asks        []target

	// now asks for the present only, so that a series that has ended is gone.
	now    bool
	format prometheus.PromQueryFormat
}

// target is a query and how its series are named.
type target struct{ expr, legend string }

type panelBuilder[B any] interface {
	cog.Builder[dashboard.Panel]
	Title(string) B
	Description(string) B
	Unit(string) B
	NoValue(string) B
	Span(uint32) B
	Height(uint32) B
	Datasource(common.DataSourceRef) B
	WithTarget(cog.Builder[variants.Dataquery]) B
}

// source is the Prometheus chosen at the top of the page.
func source() common.DataSourceRef {
	kind, uid := "prometheus", "${source}"
	return common.DataSourceRef{Type: &kind, Uid: &uid}
}

// dress gives a panel of any kind what every panel has.
func dress[B panelBuilder[B]](b B, p panel) B {
	b = b.Title(p.title).Description(p.says).Unit(p.unit).NoValue("–").Span(p.wide).Height(p.high).Datasource(source())
	for i, ask := range p.asks {
		q := prometheus.NewDataqueryBuilder().Expr(ask.expr).LegendFormat(ask.legend).
			RefId(string(rune('A' + i))).Datasource(source())
		if p.format != "" {
			q = q.Format(p.format)
		}
		if p.now {
			q = q.Instant()
		} else {
			q = q.Range()
		}
		b = b.WithTarget(q)
	}
	return b
}

func lines(p panel) *timeseries.PanelBuilder {
	return dress(timeseries.NewPanelBuilder(), p).LineWidth(2)
}

// bars stacks amounts, which lines would hide behind one another.
func bars(p panel) *timeseries.PanelBuilder {
	return dress(timeseries.NewPanelBuilder(), p).DrawStyle(common.GraphDrawStyleBars).FillOpacity(70).
		Stacking(common.NewStackingConfigBuilder().Mode(common.StackingModeNormal))
}

// numbers shows the present value of each series in large figures.
func numbers(p panel) *stat.PanelBuilder {
	p.now = true
	return dress(stat.NewPanelBuilder(), p).TextMode(common.BigValueTextModeValueAndName).
		GraphMode(common.BigValueGraphModeNone).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"last"}))
}

// words shows the names of the series that are there now.
func words(p panel) *stat.PanelBuilder {
	return numbers(p).TextMode(common.BigValueTextModeName).ColorMode(common.BigValueColorModeNone)
}

// strip shows over time which series were there, or were 1.
func strip(p panel) *statetimeline.PanelBuilder {
	return dress(statetimeline.NewPanelBuilder(), p).ShowValue(common.VisibilityModeNever)
}

// spread shows the buckets of a histogram over time.
func spread(p panel) *heatmap.PanelBuilder {
	p.format = prometheus.PromQueryFormatHeatmap
	return dress(heatmap.NewPanelBuilder(), p).YAxis(heatmap.NewYAxisConfigBuilder().Unit(p.unit))
}

// steps colours a value by limits; the first colour is that of everything
// below the first limit.
func steps(first string, more ...dashboard.Threshold) *dashboard.ThresholdsConfigBuilder {
	return dashboard.NewThresholdsConfigBuilder().Mode(dashboard.ThresholdsModeAbsolute).
		Steps(append([]dashboard.Threshold{{Color: first}}, more...))
}

func from(value float64, color string) dashboard.Threshold {
	return dashboard.Threshold{Value: &value, Color: color}
}

// called shows words instead of 0 and 1.
func called(zero, zeroColor, one, oneColor string) []dashboard.ValueMapping {
	return []dashboard.ValueMapping{{ValueMap: &dashboard.ValueMap{
		Type: dashboard.MappingTypeValueToText,
		Options: map[string]dashboard.ValueMappingResult{
			"0": {Text: &zero, Color: &zeroColor},
			"1": {Text: &one, Color: &oneColor},
		},
	}}}
}

// choice lets people pick among the values of a label.
func choice(name, label, series string) *dashboard.QueryVariableBuilder {
	question := "label_values(" + series + ", " + name + ")"
	return dashboard.NewQueryVariableBuilder(name).Label(label).Datasource(source()).
		Query(dashboard.StringOrMap{String: &question}).
		Refresh(dashboard.VariableRefreshOnTimeRangeChanged).
		Multi(true).IncludeAll(true).AllValue(".+")
}
