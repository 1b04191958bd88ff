package main

import (
	"context"
	"io"
	"log/slog"
	"path/filepath"

	"daysheet/services/dataformat"
	"daysheet/services/eventlog"
)

// openFolder makes sure that the data folder has the format of this program.
func openFolder(ctx context.Context, g *Globals, cfg appConfig, logger *slog.Logger) error {
	u := upgrading(g, logger)
	if cfg.nats.NATS != "" { // nobody holds a log in this folder
		u.Lock = func() (io.Closer, error) { return io.NopCloser(nil), nil }
	}
	u.Copy = copyBefore(g, cfg.nats, cfg.photos, logger)
	return u.Open(ctx)
}

// upgrading is how the data folder comes to the format of this program.
func upgrading(g *Globals, logger *slog.Logger) dataformat.Upgrading {
	return dataformat.Upgrading{
		Folder: g.Data, Program: build().Version, Steps: dataformat.Steps(), Logger: logger,
		Lock: func() (io.Closer, error) { return eventlog.Lock(filepath.Join(g.Data, logFolder)) },
	}
}
