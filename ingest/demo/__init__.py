"""The whole job on a made-up school."""
