package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"brakewright/server"
)

func newPreview() *cobra.Command {
	var listen string
	cmd := &cobra.Command{
		Use:   "preview DIR",
		Short: "Show a programme folder while you write it, with its problems and questions",
		Long: `Preview serves a programme folder on this machine: each lesson as it will look, for any of its
vehicles, the problems of the folder with their cures, and beside each lesson the questions that
it yields, with their keys. Save a file, and the page in the browser follows. A folder with errors
keeps the last good state in view.

There is no log-in and nothing is stored. It runs until it is told to stop (SIGTERM or SIGINT).`,
		Example: `  brakewright preview my-programme
  brakewright preview my-programme --listen 127.0.0.1:0`,
		Args: exactly(1, "which folder"),
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:8080", "address to listen on; port 0 takes a free one")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if args[0] == embedded {
			return usagef("preview shows a folder that you write; copy the embedded programme to see it")
		}
		if _, err := curriculumFS(args[0]); err != nil {
			return err
		}
		log := newLog(cmd.ErrOrStderr())
		h, err := server.NewPreview(args[0], log)
		if err != nil {
			return err
		}
		listener, err := listenOn(cmd.Context(), listen)
		if err != nil {
			return err
		}
		defer listener.Close()
		fmt.Fprintf(cmd.OutOrStdout(), "Preview of %s: http://%s\n", args[0], listener.Addr())
		return serveHTTP(cmd.Context(), listener, h, log)
	}
	return cmd
}
