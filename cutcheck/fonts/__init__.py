"""The typefaces of the page and of pictures, each with its licence beside it."""
