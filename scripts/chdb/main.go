// The command chdb is a current ClickHouse for tests, and for nothing else: it
// serves an HTTP interface to the engine that the library libchdb holds, as far as
// clickhouse-go needs one.
//
//	scripts/setup test    # fetches the library, which is under Apache-2.0, from npm
//	go run -C scripts/chdb . -folder FOLDER -library node_modules/@chdb/lib-linux-x64-gnu/libchdb.so
//
// The tests in services/facts/clickhouse start it by themselves. It is a module and
// a process of its own, since the library comes by its C interface and takes the
// process down where it fails.
//
// It takes statements with a database and settings in the URL, some of them at a
// time, knows no users, and answers in the format Native. The rows of an INSERT go
// into a file first, which the engine then reads. Statements that run are not
// cancelled but for a SELECT, between two pieces of its answer.
package main

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
)

// format of answers, and of rows that come in.
const format = "Native"

// sessions bounds statements at work at the same time; more of them wait.
const sessions = 4

// statementMax bounds the bytes of a statement.
const statementMax = 64 << 20

func main() {
	library := flag.String("library", "", "file libchdb.so")
	folder := flag.String("folder", "", "absolute path of the folder for the data")
	address := flag.String("address", "127.0.0.1:0", "where to listen")
	flag.Parse()
	if err := serve(*library, *folder, *address); err != nil {
		log.Fatalf("chdb: %v", err)
	}
}

// serve says on standard output where it listens, once it answers.
func serve(library, folder, address string) error {
	incoming := filepath.Join(folder, "incoming")
	if err := os.MkdirAll(incoming, 0o700); err != nil {
		return err
	}
	listener, err := net.Listen("tcp", address)
	if err != nil {
		return err
	}
	engines, err := openEngines(library, filepath.Join(folder, "data"), sessions)
	if err != nil {
		return err
	}
	about, err := engines[0].query("SELECT version(), timezone()", "TSV")
	if err != nil {
		return err
	}
	version, timezone, _ := strings.Cut(strings.TrimSpace(string(about)), "\t")
	s := &server{hello: hello(version, timezone), idle: make(chan *session, sessions)}
	for _, e := range engines {
		s.idle <- &session{engine: e, folder: incoming, settings: map[string]string{}}
	}
	fmt.Printf("ClickHouse %s listens at %s\n", version, listener.Addr())
	return http.Serve(listener, s)
}

// server answers a request with a session of its own.
type server struct {
	hello []byte
	idle  chan *session
}

func (s *server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	values, rows := r.URL.Query(), io.Reader(r.Body)
	statement := values.Get("query")
	if statement == "" {
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, statementMax))
		if err != nil {
			http.Error(w, "take the statement in: "+err.Error(), http.StatusBadRequest)
			return
		}
		statement, rows = string(body), bytes.NewReader(nil)
	}
	session := <-s.idle
	defer func() { s.idle <- session }()
	begun := false
	take := func(piece []byte) error {
		begun = true
		_, err := w.Write(piece)
		return errors.Join(err, r.Context().Err())
	}
	err := session.enter(values)
	switch {
	case err != nil: // no such database or setting
	case statement == helloStatement:
		err = take(s.hello)
	default:
		err = session.do(statement, rows, take)
	}
	if err != nil {
		fail(w, err, begun)
	}
}

// fail says why there is no answer, or not all of it. What has begun ends with the
// exception in a frame, as servers write it.
func fail(w http.ResponseWriter, err error, begun bool) {
	var e *exception
	said := errors.As(err, &e)
	if begun && said {
		const tag = "daysheet-test-00" // 16 bytes of its own
		_, err = fmt.Fprintf(w, "\r\n__exception__\r\n%s\r\n%s\n%d %s\r\n__exception__\r\n", tag, e.text, len(e.text), tag)
	}
	if begun && err != nil {
		panic(http.ErrAbortHandler) // the other side has gone, or takes it for that
	}
	if begun {
		return
	}
	if said {
		w.Header().Set("X-ClickHouse-Exception-Code", e.code)
	}
	http.Error(w, err.Error(), http.StatusInternalServerError)
}
