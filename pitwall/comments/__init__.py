"""Pure: the shorthand of comments, what a session's comments say together, and which are still wanted."""
