-- Takes pick lists and case plans away.
DROP TABLE pick_passed;
DROP TABLE pick_lines;
DROP TABLE pick_lists;
DROP TABLE case_plan_lines;
DROP TABLE case_plans;
