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
func openFolder(ctx context.Context, g *Globals, logger *slog.Logger) error {
	return dataformat.Upgrading{
		Folder: g.Data, Program: build().Version, Steps: dataformat.Steps(), Logger: logger,
		Lock: func() (io.Closer, error) { return eventlog.Lock(filepath.Join(g.Data, logFolder)) },
	}.Open(ctx)
}
