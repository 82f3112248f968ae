"""One file a step. A step that has been released is never edited."""
