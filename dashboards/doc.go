// Package dashboards holds the Prometheus rules and the Grafana dashboards that
// go with coilkeep; see README.md. There is nothing in it for programs: its Go
// files are the tests, and the layout the dashboards are generated from.
package dashboards
