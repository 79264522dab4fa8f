//go:build !race

package notify

const slower = 1
