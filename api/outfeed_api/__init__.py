"""The Outfeed service: HTTP in front of the `outfeed` library."""
