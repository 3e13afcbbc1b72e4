"""The local web page: rendered by the server, this machine only by default. Each page asks one workflow function."""
