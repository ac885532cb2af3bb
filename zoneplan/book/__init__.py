"""The book: many growers' fields, what they are planned from, their plans, states and history."""
