package handover

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"daysheet/services/httpd"
)

const typeTar = "application/x-tar"

// downloadTakes is how long an evidence file with many photos may take on its way.
const downloadTakes = 10 * time.Minute

// mountEvidence adds the evidence file of a job.
func (d *desk) mountEvidence(server *httpd.Server) {
	op := paperOperation("get-evidence", "/v1/jobs/{job}/evidence", "Read the evidence of a job",
		"One tar archive with every commit of the job as it is stored, the photos that are named in it, the signed handover "+
			"report, the sum of every file and the firm's Ed25519 signature over the sums. README.txt in it says how it is "+
			"checked with common tools; daysheet verify FILE does the same. It holds hours and prices: look whom you give it. "+
			"Where the answer ends without its last bytes, the archive is not whole.")
	op.Responses = map[string]*huma.Response{"200": {
		Description: "The archive",
		Content:     map[string]*huma.MediaType{typeTar: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
	}}
	huma.Register(server.API, op, func(ctx context.Context, in *paperAsk) (*huma.StreamResponse, error) {
		asOf, err := position(in.AsOf)
		if err != nil {
			return nil, err
		}
		caller, _ := httpd.CallerFrom(ctx)
		e, err := d.gather(ctx, evidenceOf(caller.Firm, in.Job, asOf))
		if err != nil {
			return nil, err
		}
		return &huma.StreamResponse{Body: func(h huma.Context) { d.send(h, e) }}, nil
	})
}

// send sends an evidence file. The status is out by then: only a broken connection
// can say that the end is missing.
func (d *desk) send(h huma.Context, e *evidence) {
	h.SetHeader("Content-Type", typeTar)
	h.SetHeader("Content-Disposition",
		fmt.Sprintf(`attachment; filename="%s-evidence-%d.tar"`, e.manifest.Job, e.manifest.Position))
	c := humagin.Unwrap(h)
	unhurry(c)
	if err := d.writeEvidence(h.Context(), e, h.BodyWriter()); err != nil {
		_ = c.Error(err) // hands it to the access log and returns it again
		panic(http.ErrAbortHandler)
	}
}
