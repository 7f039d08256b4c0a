// Package room answers what an effort does to a rider and the air around them: heat, airflow, sweat, fluid.
package room
