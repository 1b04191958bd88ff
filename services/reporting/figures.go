package reporting

import (
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"daysheet/events"
	"daysheet/reports"
	"daysheet/services/httpd"
)

// figure answers with one figure of a report as the chart that the page draws.
func (s *site) figure(d reports.Definition) gin.HandlerFunc {
	return func(c *gin.Context) {
		body, err := s.chart(c, d)
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		c.Header("Cache-Control", "private, no-cache")
		c.JSON(http.StatusOK, body)
	}
}

func (s *site) chart(c *gin.Context, d reports.Definition) (chartBody, error) {
	ctx := c.Request.Context()
	caller, _ := httpd.CallerFrom(ctx)
	p := readParams(c.Request.URL.Query())
	f := p.filter(caller.Firm)
	if err := p.done(); err != nil {
		return chartBody{}, err
	}
	name, isJSON := strings.CutSuffix(c.Param("figure"), ".json")
	w, err := s.teller(ctx, caller.Firm)
	if err != nil {
		return chartBody{}, err
	}
	r, err := s.run(ctx, d, f, w.Texts)
	if err != nil {
		return chartBody{}, err
	}
	for _, fig := range r.Figures {
		if isJSON && fig.Name == name {
			return newChart(fig, w), nil
		}
	}
	return chartBody{}, &events.Error{Code: events.NotFound, Field: "figure", Value: c.Param("figure"),
		Rule: "the report has no such figure for this filter"}
}
