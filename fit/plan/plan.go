// Package plan goes from a model and an order to pole heights: within the
// order's limits, beside flat tops and other staggers, with how sure it is.
package plan
