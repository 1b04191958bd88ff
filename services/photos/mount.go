package photos

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"daysheet/events"
	"daysheet/services/httpd"
)

// Store keeps photos by firm and digest. [Folder] is one; what its methods promise
// stands there.
type Store interface {
	Put(ctx context.Context, firm, digest string, body io.Reader) (info Info, added bool, err error)
	Open(ctx context.Context, firm, digest string) (io.ReadSeekCloser, Info, error)
	Stat(ctx context.Context, firm, digest string) (Info, error)
}

// Deps is what the routes need. Every member but Take is required.
type Deps struct {
	Store      Store
	Thumbnails *Thumbnails

	// Commits returns a job's commits up to a sequence, oldest first; 0 is all.
	Commits func(ctx context.Context, firm, job string, upTo uint64) ([]events.Stored, error)

	Take     bool  // whether photos can be sent to this process
	BytesMax int64 // of one photo
}

// Addresses of the routes: for the API, and as the engine knows it.
const (
	path      = "/v1/photos/{digest}"
	pathKnown = "/v1/photos/:digest"
)

type routes struct{ Deps }

// Mount adds the routes to the server.
func Mount(server *httpd.Server, deps Deps) error {
	if deps.Store == nil || deps.Thumbnails == nil || deps.Commits == nil || deps.BytesMax < 1 {
		return errors.New("mount photos: every member of Deps must be set")
	}
	r := &routes{deps}
	if deps.Take {
		server.LimitBody(pathKnown, deps.BytesMax)
		huma.Register(server.API, putOperation(deps.BytesMax), r.put)
	}
	get := getOperation()
	huma.Register(server.API, get, r.get)
	head := get // described with GET; net/http leaves the body out
	head.OperationID, head.Method, head.Hidden = "head-photo", http.MethodHead, true
	huma.Register(server.API, head, r.get)
	huma.Register(server.API, listOperation(), r.list)
	return nil
}

// sender takes the body of a request as it comes: it is hashed on its way to disk.
type sender struct {
	Digest string `path:"digest" doc:"SHA-256 of the photo as 64 of 0-9 and a-f"`
	body   io.Reader
}

// Resolve keeps the body.
func (s *sender) Resolve(ctx huma.Context) []error {
	s.body = ctx.BodyReader()
	return nil
}

type kept struct {
	Status int
	Body   Info
}

func (r *routes) put(ctx context.Context, in *sender) (*kept, error) {
	caller, _ := httpd.CallerFrom(ctx)
	info, added, err := r.Store.Put(ctx, caller.Firm, in.Digest, in.body)
	if errors.Is(err, ErrNoRoom) {
		return nil, httpd.NewProblem(http.StatusInsufficientStorage, ErrNoRoom.Error())
	}
	if err != nil {
		return nil, err
	}
	status := http.StatusOK
	if added {
		status = http.StatusCreated
	}
	return &kept{status, info}, nil
}

type getIn struct {
	Digest string `path:"digest" doc:"SHA-256 of the photo as 64 of 0-9 and a-f"`
	Width  int    `query:"width" doc:"A thumbnail of this width, as JPEG: 160, 320 or 640 pixels. Leave it out for the photo itself"`
}

func (r *routes) get(ctx context.Context, in *getIn) (*huma.StreamResponse, error) {
	caller, _ := httpd.CallerFrom(ctx)
	if in.Width != 0 {
		small, err := r.Thumbnails.Make(ctx, caller.Firm, in.Digest, in.Width)
		if err != nil {
			return nil, err
		}
		name := in.Digest + "-" + strconv.Itoa(in.Width)
		return serve(name, "image/jpeg", "jpg", func() (io.ReadSeekCloser, error) {
			return unclosed{bytes.NewReader(small)}, nil
		}), nil
	}
	info, err := r.Store.Stat(ctx, caller.Firm, in.Digest)
	if err != nil {
		return nil, err
	}
	return serve(in.Digest, info.Type, info.ending(), func() (io.ReadSeekCloser, error) {
		file, _, err := r.Store.Open(ctx, caller.Firm, in.Digest)
		return file, err
	}), nil
}

// ending returns what the name of a file of this type ends with.
func (i Info) ending() string {
	switch i.Type {
	case "image/png":
		return "png"
	case "image/webp":
		return "webp"
	}
	return "jpg"
}

// unclosed is a reader with nothing to close.
type unclosed struct{ *bytes.Reader }

func (unclosed) Close() error { return nil }

// serve answers with a picture that never changes: a browser may keep it for good,
// and ask for parts of it.
func serve(name, media, ending string, open func() (io.ReadSeekCloser, error)) *huma.StreamResponse {
	return &huma.StreamResponse{Body: func(h huma.Context) {
		c := humagin.Unwrap(h)
		file, err := open()
		if err != nil {
			httpd.Abort(c, err)
			return
		}
		defer file.Close()
		c.Header("Content-Type", media)
		c.Header("Content-Disposition", `inline; filename="`+name+"."+ending+`"`)
		c.Header("ETag", strconv.Quote(name))
		c.Header("Cache-Control", "private, max-age=31536000, immutable")
		http.ServeContent(c.Writer, c.Request, "", time.Time{}, file)
	}}
}

const putAbout = `The body is the photo itself: JPEG, PNG or WebP, whatever the Content-Type says. Its name is the
SHA-256 of its bytes, so that sending it again is always safe. It may have up to %d bytes and %d pixels.

A photo that says where it was taken is refused, because it would tell where customers live: pages that take photos
shrink them first, which removes it. So is anything behind the end of the picture.

Send the photo first and then the event that names it. The answer is 201 where it is new, 200 where it was there
already, and 507 where the firm's photos take up all the room they may. It is on disk then.`

func putOperation(bytesMax int64) huma.Operation {
	picture := &huma.Schema{Type: huma.TypeString, Format: "binary"}
	return huma.Operation{
		OperationID: "put-photo", Method: http.MethodPut, Path: path, Tags: []string{"photos"}, Summary: "Send a photo",
		Description: fmt.Sprintf(putAbout, bytesMax, pixelsMost), DefaultStatus: http.StatusCreated,
		Metadata: map[string]any{"scope": httpd.ScopeRecord},
		RequestBody: &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
			"image/jpeg": {Schema: picture}, "image/png": {Schema: picture}, "image/webp": {Schema: picture},
		}},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusRequestEntityTooLarge,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests, http.StatusServiceUnavailable,
			http.StatusInsufficientStorage},
	}
}

func getOperation() huma.Operation {
	picture := &huma.Schema{Type: huma.TypeString, Format: "binary"}
	return huma.Operation{
		OperationID: "get-photo", Method: http.MethodGet, Path: path, Tags: []string{"photos"}, Summary: "Read a photo",
		Description: "The photo, or a thumbnail of it. It never changes, so that it may be kept for good; its ETag is its " +
			"name. HEAD asks whether it is there; ranges can be asked for.",
		Metadata: map[string]any{"scope": []httpd.Scope{httpd.ScopeRead, httpd.ScopeRecord}},
		Responses: map[string]*huma.Response{
			"200": {Description: "The photo", Content: map[string]*huma.MediaType{
				"image/jpeg": {Schema: picture}, "image/png": {Schema: picture}, "image/webp": {Schema: picture},
			}},
			"304": {Description: "The photo that the caller holds is still good"},
		},
		Errors: []int{http.StatusUnauthorized, http.StatusForbidden, http.StatusNotFound,
			http.StatusUnprocessableEntity, http.StatusTooManyRequests},
	}
}
