"""One to three numbers of a setup moved, each cell judged, all kept in a store."""
