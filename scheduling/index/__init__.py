"""The rebuildable index of cover states and due items: which covers to compute again, in what ranges, and by whom."""
