package app

import (
	"os"
	"os/exec"
	"runtime"
)

// Desktop is whether somebody sits before a screen that could show a page.
func Desktop() bool {
	switch runtime.GOOS {
	case "darwin", "windows":
		return true
	}
	return os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != ""
}

// Browse opens an address of ours in the person's browser.
func Browse(address string) error {
	var c *exec.Cmd
	switch runtime.GOOS {
	case "darwin":
		c = exec.Command("open", address)
	case "windows":
		c = exec.Command("rundll32", "url.dll,FileProtocolHandler", address)
	default:
		c = exec.Command("xdg-open", address)
	}
	if err := c.Start(); err != nil {
		return err
	}
	go c.Wait() // so that it leaves no trace in the list of processes
	return nil
}
