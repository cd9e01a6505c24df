"""One file, one question asked of a route, one public function."""
