package main

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"daysheet/events"
	"daysheet/services/eventlog"
	"daysheet/services/pages"
	"daysheet/services/photos"
)

// PhotoFlags say where photos are kept.
type PhotoFlags struct {
	Photos string `help:"Folder of the photos; photos in the data folder, if not given. With --nats photos are refused without it, and all processes of the ledger share it." type:"path" placeholder:"FOLDER" env:"DAYSHEET_PHOTOS"`
}

// PhotoLimitFlags say how much is kept of them.
type PhotoLimitFlags struct {
	PhotoMaxKiB        int64 `name:"photo-max-kib" help:"Largest photo in KiB." default:"8192" env:"DAYSHEET_PHOTO_MAX_KIB"`
	PhotosMaxMegabytes int64 `help:"Most disk, in megabytes, that the photos of a firm may take." default:"20480" env:"DAYSHEET_PHOTOS_MAX_MEGABYTES"`
}

func (f PhotoLimitFlags) limits() photos.Limits {
	return photos.Limits{Bytes: f.PhotoMaxKiB << 10, FirmBytes: f.PhotosMaxMegabytes << 20}
}

// folder returns the photos of the ledger; nil where it has no folder for them: other
// processes serve an external log, and would not see what stands in the data folder
// of this one.
func (f PhotoFlags) folder(g *Globals, n NATSFlags, limits photos.Limits) *photos.Folder {
	root := f.Photos
	if root == "" {
		if n.NATS != "" {
			return nil
		}
		root = filepath.Join(g.Data, photosFolder)
	}
	return photos.NewFolder(root, limits)
}

// mountPhotos adds the routes of the photos where this process takes or shows them.
func (a *app) mountPhotos(g *Globals, cfg appConfig, logger *slog.Logger) error {
	takes := a.roles.runs(roleIntake)
	if !takes && !a.roles.runs(roleReporting) {
		return nil
	}
	folder, bytesMax := cfg.photos.folder(g, cfg.nats, cfg.photoLimits), int64(photos.BytesMax)
	a.photos = photos.Nowhere{}
	if folder != nil {
		a.photos, bytesMax = folder, folder.BytesMax()
		if takes {
			if err := folder.Sweep(logger); err != nil {
				return err
			}
		}
	} else {
		logger.Warn("photos are refused: an external log is shared by processes, so give --photos, the folder they share")
	}
	a.thumbnails = photos.NewThumbnails(a.photos, filepath.Join(g.Data, thumbnailsFolder), logger)
	return photos.Mount(a.server, photos.Deps{
		Store:      a.photos,
		Thumbnails: a.thumbnails,
		Commits:    a.log.Commits, Take: takes, BytesMax: bytesMax,
	})
}

// mountAddPhotos adds the page on which the office adds photos to a job.
func (a *app) mountAddPhotos(frame *pages.Frame) error {
	return photos.MountPage(a.server, photos.PageDeps{
		Frame: frame, Names: a.projector.Names, Commits: a.log.Commits, Record: a.log.Record, Store: a.photos,
		Clock: time.Now,
	})
}

// localeOf returns the locale of a firm (BCP 47).
func (a *app) localeOf(ctx context.Context, firm string) (string, error) {
	names, err := a.projector.Names(ctx, firm)
	return names.Locale, err
}

// verifyPhotos compares the photos with their names and, where the log can be read to
// its end, with what it names. It prints what it found, and returns how much that is.
func verifyPhotos(
	ctx context.Context, folder *photos.Folder, log *eventlog.Log, sound bool,
) (findings int, err error) {
	if folder == nil {
		fmt.Println("photos were not looked at: give --photos, the folder that the processes of the ledger share")
		return 0, nil
	}
	report, err := folder.Check(ctx, func(visit func(*events.Commit) error) error {
		if !sound {
			fmt.Println("photos were not looked for by the log's names: mend the log first")
			return nil
		}
		return eachCommit(ctx, log, visit)
	})
	if err != nil {
		return 0, err
	}
	fmt.Printf("%d photos with %d KiB, named %d times\n", report.Photos, report.Bytes>>10, report.Named)
	for _, finding := range report.Findings {
		fmt.Println("found:", finding)
	}
	return len(report.Findings) + report.More, nil
}
