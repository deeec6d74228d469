"""A lifted floor surveyed, and the turns of jacks that correct it."""
