package reporting

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
)

// notice is a licence text with everything that it holds for.
type notice struct {
	Of   []string `json:"of"`
	Text string   `json:"text"`
}

// notices are the texts that go with what the program passes on.
type notices struct {
	Charts  []notice // of the chart library; nil where it is not part of the program
	Modules []notice // of Go modules and the standard library; nil where they were not gathered
}

// modulesFile is what scripts/licences writes before the program is built.
const modulesFile = "licences.json"

// readNotices reads the licences from where scripts/setup put them. The chart
// library is not served without its own; modules are part of every build, so that
// the page says it where theirs were not gathered.
func readNotices(lib fs.FS, charts bool) (notices, error) {
	var n notices
	if charts {
		for _, file := range []struct{ of, name string }{
			{"Apache ECharts: licence", "echarts.LICENSE"}, {"Apache ECharts: notice", "echarts.NOTICE"},
			{"ZRender, inside ECharts: licence", "zrender.LICENSE"}, {"tslib, inside ECharts: licence", "tslib.LICENSE"},
		} {
			text, err := fs.ReadFile(lib, file.name)
			if err != nil {
				return n, fmt.Errorf("the chart library must not be served without its licences: %w", err)
			}
			n.Charts = append(n.Charts, notice{[]string{file.of}, string(text)})
		}
	}
	raw, err := fs.ReadFile(lib, modulesFile)
	if errors.Is(err, fs.ErrNotExist) {
		return n, nil
	}
	if err == nil {
		err = json.Unmarshal(raw, &n.Modules)
	}
	if err != nil {
		return n, fmt.Errorf("read licences of modules: %w", err)
	}
	return n, nil
}
