"""The lock map, as a picture and as a page."""
