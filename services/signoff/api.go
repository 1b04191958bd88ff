package signoff

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"daysheet/events"
	"daysheet/services/httpd"
)

// linkBody is a link as the office sees it.
type linkBody struct {
	ID        string    `json:"id"`
	Purpose   string    `json:"purpose" enum:"sign-off,read"`
	Created   time.Time `json:"created"`
	CreatedBy string    `json:"created_by" doc:"Name of the credential that made it"`
	Expires   time.Time `json:"expires"`
	Revoked   string    `json:"revoked,omitempty" doc:"When it was taken back"`
	Standing  string    `json:"standing" enum:"holds,ended,revoked"`
}

func (d *desk) body(l Link) linkBody {
	b := linkBody{ID: l.ID, Purpose: string(l.Purpose), Created: l.Created, CreatedBy: l.CreatedBy, Expires: l.Expires,
		Standing: string(Holds)}
	switch {
	case !l.Revoked.IsZero():
		b.Standing, b.Revoked = string(Revoked), l.Revoked.Format(time.RFC3339)
	case !d.deps.Clock().Before(l.Expires):
		b.Standing = string(Ended)
	}
	return b
}

type makeIn struct {
	Job  string `path:"job" doc:"Key of the job"`
	Body struct {
		Purpose string `json:"purpose" enum:"sign-off,read" doc:"sign-off lets the holder see the job and sign it, read only see it"`
		Days    int    `json:"days,omitempty" minimum:"1" maximum:"400" default:"14" doc:"Days until it ends"`
	}
}

type madeOut struct {
	Body struct {
		Link    linkBody `json:"link"`
		Secret  string   `json:"secret" doc:"Shown this once; whoever holds it gets in"`
		Address string   `json:"address" doc:"Of the page, with the secret in it; without the server's own address where that is not known"`
	}
}

type linksOut struct {
	Body struct {
		Links []linkBody `json:"links" doc:"Oldest first, without their secrets"`
	}
}

type jobAsk struct {
	Job string `path:"job" doc:"Key of the job"`
}

type revokeIn struct {
	Job  string `path:"job" doc:"Key of the job"`
	Link string `path:"link" doc:"Id of the link"`
}

type revokeOut struct{ Body linkBody }

type signIn struct {
	Job  string `path:"job" doc:"Key of the job"`
	Body Signing
}

type signOut struct {
	Status int
	Body   events.Receipt
}

func operation(id, method, path, summary, about string, scope ...httpd.Scope) huma.Operation {
	return huma.Operation{
		OperationID: id, Method: method, Path: path, Tags: []string{"sign-off"}, Summary: summary, Description: about,
		Metadata: map[string]any{"scope": scope},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound, http.StatusConflict,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable},
	}
}

func (d *desk) mountAPI(api huma.API) {
	made := operation("make-job-link", http.MethodPost, "/v1/jobs/{job}/links", "Make a link to a job",
		"The link opens a page with the one job, without an account. Its secret is shown this once.", httpd.Office)
	made.DefaultStatus = http.StatusCreated
	huma.Register(api, made, d.makeLink)
	huma.Register(api, operation("list-job-links", http.MethodGet, "/v1/jobs/{job}/links", "List the links to a job",
		"Without their secrets.", httpd.Office),
		func(ctx context.Context, in *jobAsk) (*linksOut, error) {
			caller, err := httpd.RequireCaller(ctx)
			if err != nil {
				return nil, err
			}
			links, err := d.deps.Links.OfJob(caller.Firm, in.Job)
			out := &linksOut{}
			out.Body.Links = []linkBody{}
			for _, l := range links {
				out.Body.Links = append(out.Body.Links, d.body(l))
			}
			return out, err
		})
	huma.Register(api, operation("revoke-job-link", http.MethodPost, "/v1/jobs/{job}/links/{link}/revoke",
		"Take a link back", "It opens nothing any more, at once.", httpd.Office),
		func(ctx context.Context, in *revokeIn) (*revokeOut, error) {
			caller, err := httpd.RequireCaller(ctx)
			if err != nil {
				return nil, err
			}
			l, err := d.deps.Links.Revoke(ctx, caller.Name, caller.Firm, in.Job, in.Link)
			return &revokeOut{d.body(l)}, err
		})
	sign := operation("sign-off-job", http.MethodPost, "/v1/jobs/{job}/sign-off", "Sign a job off",
		"For the crew's phone: records who signed and the signature, sealed with the key of the job's customer. Sending "+
			"the same again gives the same answer.", httpd.ScopeRecord)
	sign.Responses = map[string]*huma.Response{}
	huma.Register(api, sign, func(ctx context.Context, in *signIn) (*signOut, error) {
		caller, err := httpd.RequireCaller(ctx)
		if err != nil {
			return nil, err
		}
		receipt, err := d.sign(ctx, caller.Firm, in.Job, caller.Name, "/sign-off", in.Body)
		status := http.StatusCreated
		if receipt.Duplicate {
			status = http.StatusOK
		}
		return &signOut{status, receipt}, err
	})
}

func (d *desk) makeLink(ctx context.Context, in *makeIn) (*madeOut, error) {
	caller, err := httpd.RequireCaller(ctx)
	if err != nil {
		return nil, err
	}
	l, secret, err := d.newLink(ctx, caller, in.Job, Purpose(in.Body.Purpose), in.Body.Days)
	if err != nil {
		return nil, err
	}
	out := &madeOut{}
	out.Body.Link, out.Body.Secret, out.Body.Address = d.body(l), secret, d.base+pathOf(secret)
	return out, nil
}

// newLink makes a link to a job of the caller's firm.
func (d *desk) newLink(ctx context.Context, caller httpd.Caller, key string, p Purpose, days int) (Link, string,
	error) {
	if _, err := d.read(ctx, caller.Firm, key); err != nil {
		return Link{}, "", err
	}
	if days < 1 || days > 400 {
		return Link{}, "", events.Refuse("days", days, "1 to 400")
	}
	const day = 24 * time.Hour
	return d.deps.Links.Add(ctx, Link{Firm: caller.Firm, Job: key, Purpose: p, CreatedBy: caller.Name,
		Expires: d.deps.Clock().Add(time.Duration(days) * day)})
}
