"""Files that families, phones, class sites and villains hand in, made by code, with what becomes of each."""
