package config

import (
	"os"
	"path/filepath"
)

const fileName = "sumpbook.yaml"

// DataDir is the folder of the book: the flag, SUMPBOOK_DATA, the service's state folder,
// or sumpbook in the XDG data folder.
func DataDir(flag string, env func(string) string) string {
	switch {
	case flag != "":
		return flag
	case env(envPrefix+"DATA") != "":
		return env(envPrefix + "DATA")
	case firstOf(env("STATE_DIRECTORY")) != "":
		return firstOf(env("STATE_DIRECTORY"))
	}
	if dir := xdg("XDG_DATA_HOME", filepath.Join(".local", "share"), env); dir != "" {
		return dir
	}
	return "/var/lib/sumpbook" // nobody's home: a service
}

// File is the path of the configuration: the flag, SUMPBOOK_CONFIG, the service's
// configuration folder, the XDG configuration folder, or /etc/sumpbook. Only the first two
// are explicit, and only they must exist; without any, path is where one would be made, or
// empty where there is no home.
func File(flag string, env func(string) string) (path string, explicit bool) {
	switch {
	case flag != "":
		return flag, true
	case env(envPrefix+"CONFIG") != "":
		return env(envPrefix + "CONFIG"), true
	case firstOf(env("CONFIGURATION_DIRECTORY")) != "":
		return filepath.Join(firstOf(env("CONFIGURATION_DIRECTORY")), fileName), false
	}
	if dir := xdg("XDG_CONFIG_HOME", ".config", env); dir != "" {
		path = filepath.Join(dir, fileName)
	}
	system := filepath.Join("/etc/sumpbook", fileName)
	if !exists(path) && exists(system) {
		return system, false
	}
	return path, false
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// xdg is our folder in a base folder of the XDG specification, which has relative ones
// ignored; empty if there is no home either.
func xdg(variable, underHome string, env func(string) string) string {
	if base := env(variable); filepath.IsAbs(base) {
		return filepath.Join(base, "sumpbook")
	}
	if home := env("HOME"); filepath.IsAbs(home) {
		return filepath.Join(home, underHome, "sumpbook")
	}
	return ""
}

// firstOf takes the first of the folders that systemd lists.
func firstOf(folders string) string {
	for _, dir := range filepath.SplitList(folders) {
		if dir != "" {
			return dir
		}
	}
	return ""
}
