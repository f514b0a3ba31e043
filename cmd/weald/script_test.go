package main

import (
	"context"
	"fmt"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"weald/ingest/raced"
)

// asProgram makes the test binary be the program, for tests that kill it.
const asProgram = "WEALD_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		if file := os.Getenv(profiled); file != "" {
			os.Exit(runProfiled(file))
		}
		main()
	}
	if world := os.Getenv(atSpeed); world != "" {
		if err := runIn(world, os.Args[1]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if conf := os.Getenv(asServer); conf != "" {
		if err := runServer(conf); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	testscript.Main(m, map[string]func(){
		"weald": func() { os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// The commands are tested as commands: what they print, where, and how they end.
func TestScripts(t *testing.T) {
	t.Parallel()
	raced.Skip(t, "one command after the other")
	testscript.Run(t, testscript.Params{Dir: "testdata/script", RequireExplicitExec: true})
}
