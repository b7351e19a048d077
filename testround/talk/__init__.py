"""What is said in a round: notes, questions at a place in the text, private words, and one's dates as a calendar."""
