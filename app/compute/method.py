"""Name, version and plain-words description of the decay analysis; every stored result carries the version."""

METHOD_NAME = "single exponential with background, weighted, autocorrelation weighed in"
METHOD_VERSION = "1.0"
