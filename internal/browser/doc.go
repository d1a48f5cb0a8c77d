// Package browser drives a real Chromium for tests of the page: over the pipe of its
// DevTools protocol (chromium --remote-debugging-pipe), without a port.
package browser
