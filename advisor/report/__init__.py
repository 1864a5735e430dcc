"""Reports: a value in, a string out; nothing here touches the disk or a terminal."""

MACHINE_FORMATS = ("json", "sarif", "junit", "github", "gitlab")
