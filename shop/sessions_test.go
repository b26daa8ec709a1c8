package shop

import "testing"

// A session's readings are counted once, by what stands: a row that was taken back counts
// no more, and one that was filed anew counts as it says then.
func TestSessions(t *testing.T) {
	const text = `time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,pole_height_mm,string_height_mm,mode,take,rms_mv,quiet_mv,status,note
2025-03-03T08:00:00.000Z,s001,model,j,0000000A,1,P,b,1,light,0.254,0.5,3,Q,1,0.3,,ok,
2025-03-03T08:00:01.000Z,s001,model,j,0000000A,2,P,b,1,light,0.254,0.5,3,P,1,12,0.3,ok,
2025-03-03T08:00:02.000Z,s001,model,j,0000000A,3,P,b,2,light,0.33,0.5,3,P,1,12,0.3,ok,
2025-03-03T08:00:02.000Z,s001,model,j,0000000A,3,P,b,2,light,0.33,0.5,3,P,1,12,0.3,ok,
2025-03-03T08:00:03.000Z,s001,model,j,0000000A,4,P,b,2,light,0.33,0.5,3,P,2,12,0.3,clipped,
2025-03-04T08:00:00.000Z,s002,check,j,0000000A,5,P,b,1,light,0.254,0.5,3,P,1,12,0.3,ok,
2025-03-04T09:00:00.000Z,s001,model,j,0000000A,2,P,b,1,light,0.254,0.5,3,P,1,12,0.3,retracted,
2025-03-04T09:00:00.000Z,s001,model,j,0000000A,2,P2,b,1,light,0.254,0.5,3,P,1,12,0.3,ok,
2025-03-04T09:00:00.000Z,s001,model,j,0000000A,3,P,b,2,light,0.33,0.5,3,P,1,12,0.3,retracted,
`
	s := shopOf(t, text)
	got, err := s.Sessions(t.Context())
	if err != nil || len(got) != 2 {
		t.Fatalf("%+v, %v", got, err)
	}
	if l := got[0]; l.Session != "s001" || l.Pickup != "P2" || l.Good != 1 || l.Quiet != 1 || l.Flagged != 1 || l.TakenBack != 2 || l.Strings != 1 || l.Last.Day() != 4 {
		t.Errorf("%+v", l)
	}
	if l := got[1]; l.Session != "s002" || l.Purpose != "check" || l.Good != 1 || l.TakenBack != 0 {
		t.Errorf("%+v", l)
	}
}
