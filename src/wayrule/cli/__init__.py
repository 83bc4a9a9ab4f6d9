"""The command line: one verb a file, each a thin cover of one public function."""
