// Package bounded reads tables and YAML within bounds that its errors name, and finds
// them exceeded before they take memory or time.
package bounded
