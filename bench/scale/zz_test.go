package main
import ("testing";"os")
func BenchmarkCells(b *testing.B){ f:=os.Getenv("LOGF"); for b.Loop(){ if _,err:=cellsStage(f);err!=nil{b.Fatal(err)} } }
func BenchmarkBare(b *testing.B){ f:=os.Getenv("LOGF"); for b.Loop(){ if _,err:=bareCells(f);err!=nil{b.Fatal(err)} } }
