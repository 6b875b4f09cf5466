"""Tests in Chromium: a package, so that the browser and the server that they share end with the last of them."""
