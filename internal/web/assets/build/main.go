// Command build bundles the TypeScript of the pages into dist/app.js. It is
// run by `go generate ./internal/web/assets`, in the folder of that package.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	js, err := bundle(".")
	if err == nil {
		err = os.WriteFile("dist/app.js", js, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "build: "+err.Error())
		os.Exit(1)
	}
}

// bundle is ts/app.ts and what it imports as one script for browsers of 2021
// and later.
func bundle(dir string) ([]byte, error) {
	r := api.Build(api.BuildOptions{
		AbsWorkingDir:     abs(dir),
		EntryPoints:       []string{"ts/app.ts"},
		Bundle:            true,
		MinifySyntax:      true,
		MinifyWhitespace:  true,
		MinifyIdentifiers: true,
		Target:            api.ES2020,
		Format:            api.FormatIIFE,
		LegalComments:     api.LegalCommentsEndOfFile,
		Charset:           api.CharsetUTF8,
	})
	if len(r.Errors) > 0 {
		e := r.Errors[0]
		if e.Location != nil {
			return nil, fmt.Errorf("%s:%d: %s", e.Location.File, e.Location.Line, e.Text)
		}
		return nil, fmt.Errorf("%s", e.Text)
	}
	return r.OutputFiles[0].Contents, nil
}

// abs is dir from the root, as the bundler wants it.
func abs(dir string) string {
	d, err := filepath.Abs(dir)
	if err != nil {
		panic(err) // only if the working folder is gone
	}
	return d
}
