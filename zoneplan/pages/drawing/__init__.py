"""Drawing: outlines on their way from the map and the text box into a question."""
