"""What every question uses: input, progress, kept results, words, pages."""
