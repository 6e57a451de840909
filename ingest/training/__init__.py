"""How the handwriting reader is trained; needs the extra 'train' (PyTorch)."""
