package hospital

import (
	_ "embed"
	"fmt"
	"strings"
	"text/template"
)

//go:embed hospital.yaml.tmpl
var configText string

// configTemplate has no logic that could fail on some machine only; that it parses is
// tested by every use.
var configTemplate = template.Must(template.New("hospital.yaml").Parse(configText))

// bridge is the id of place i's bridge.
func bridge(i int) string { return fmt.Sprintf("hub-%d", i+1) }

// Config returns the configuration of the daemon, in YAML. Its record is a folder
// beside it.
func (h *Hospital) Config() (string, error) {
	type place struct {
		ID, Bridge string
		TCP        bool
	}
	kind, _, _ := strings.Cut(h.scenario.Name, "-")
	data := struct {
		Kind, Format, TCP, MQTT, Password, Pages string
		Channels                                 int
		Rate                                     float64
		Places                                   []place
	}{Kind: kind, Format: "packed", MQTT: h.o.MQTT, Password: h.o.Password, Pages: h.o.Pages, Channels: h.channels, Rate: h.rate}
	if h.scenario.Encoding.Line {
		data.Format = "line"
	}
	if h.board != nil {
		data.TCP = h.board.Addr().String()
	}
	for i := range h.o.Places {
		data.Places = append(data.Places, place{fmt.Sprintf("%s-%d", kind, i+1), bridge(i), h.overTCP(i)})
	}
	var b strings.Builder
	err := configTemplate.Execute(&b, data)
	return b.String(), err
}
